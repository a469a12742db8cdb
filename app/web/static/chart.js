// The chart of a run: zones, levels, faults, lines, a cursor; the part lives in the address.

const frame = document.querySelector("#chart[data-samples]");
const said = document.querySelector("#chart-said");
const form = document.querySelector("[data-view-form]");
const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot"];
const INK = "#2a2723";
const RULE = "#d8cdb8";
const STOP = "#9c1f1f";
const SETS = { top: "#8a5a00", bottom: "#5b6770" };
const FONT = { family: "system-ui, sans-serif", size: 14, color: INK };
const SMALL = { ...FONT, size: 12 };
const NARROWEST_S = 1;

const convert = (celsius, unit) => (celsius === null || unit === "C" ? celsius : celsius * 1.8 + 32);
const readable = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;");
const short = (text, most) => (text.length > most ? `${text.slice(0, most - 1)}…` : text);

// Places near those wanted, `apart` from each other, between first and last.
const spreadApart = (wanted, apart, first, last) => {
  const order = wanted.map((_, place) => place).sort((a, b) => wanted[a] - wanted[b]);
  const step = Math.min(apart, (last - first) / Math.max(wanted.length - 1, 1));
  const spread = [];
  let least = first;
  for (const place of order) {
    spread[place] = Math.max(wanted[place], least);
    least = spread[place] + step;
  }
  let most = last;
  for (const place of order.reverse()) {
    spread[place] = Math.min(spread[place], most);
    most = spread[place] - step;
  }
  return spread;
};

const start = (channels, about) => {
  const duration = about.duration_s;
  const view = { from: about.from_s, to: about.to_s, unit: about.unit };
  let cursor = null;
  let drawing = false;

  const isWhole = () => view.from <= 0 && view.to >= duration;
  const words = () => `°${view.unit}`;

  const heights = () => {
    const seen = [];
    for (const one of channels) {
      one.time_s.forEach((time, place) => {
        const at = one.temperature_c[place];
        if (at !== null && time >= view.from && time <= view.to) seen.push(Math.min(Math.max(at, -60), 550));
      });
    }
    if (isWhole() || !seen.length) {
      seen.push(20, about.liquidus_c, ...about.levels.map((one) => one.at_c));
      for (const zone of about.zones.filter((one) => one.from_s < view.to)) {
        seen.push(...[zone.top_c, zone.bottom_c].filter((at) => at !== null));
      }
    }
    const low = seen.reduce((a, b) => Math.min(a, b));
    const high = seen.reduce((a, b) => Math.max(a, b));
    const free = Math.max((high - low) * 0.06, 1);
    return [Math.max(low - free, -60), Math.min(high + free, 550)];
  };

  const zoneShapes = () => about.zones
    .map((zone, place) => ({
      type: "rect", layer: "below", yref: "paper", y0: 0, y1: 1, line: { width: 0 },
      x0: Math.max(zone.from_s, view.from), x1: Math.min(zone.to_s, view.to),
      fillcolor: place % 2 ? "rgba(120, 100, 60, 0.13)" : "rgba(120, 100, 60, 0.05)",
    }))
    .filter((shape) => shape.x0 < shape.x1);

  const level = (at, dash, color) => ({
    type: "line", xref: "paper", x0: 0, x1: 1, layer: "below", line: { color, width: 1.5, dash },
    y0: convert(at, view.unit), y1: convert(at, view.unit),
  });

  // Limits, liquidus and set-points are named left, the lines right, faults on top.
  const annotate = (low, high, width, height) => {
    const scale = (high - low) / height;
    const note = (text, more) => ({ text: readable(text), showarrow: false, font: SMALL, bgcolor: "#fffcf4bf", ...more });
    const zones = about.zones
      .map((zone) => ({ name: zone.name, from: Math.max(zone.from_s, view.from), to: Math.min(zone.to_s, view.to) }))
      .filter((one) => ((one.to - one.from) / (view.to - view.from)) * width > one.name.length * 7 + 6)
      .map((one) => note(one.name, { x: one.from, y: 0, yref: "paper", xanchor: "left", yanchor: "bottom", xshift: 3 }));
    const first = about.zones.find((zone) => zone.from_s <= view.from && view.from < zone.to_s);
    const named = [
      { label: "liquidus", at_c: about.liquidus_c, color: INK },
      ...about.levels.map((one) => ({ ...one, color: STOP })),
    ].map((one) => ({ ...one, label: `${+convert(one.at_c, view.unit).toFixed(1)} ${words()} ${one.label}` }));
    for (const [heater, color] of Object.entries(SETS)) {
      const at = first?.[`${heater}_c`] ?? null;
      if (at !== null) named.push({ label: `${heater} heater set`, at_c: at, color });
    }
    const shown = named.filter((one) => one.at_c >= low && one.at_c <= high);
    const places = spreadApart(shown.map((one) => one.at_c), 15 * scale, low + 20 * scale, high - 16 * scale);
    const levels = shown.map((one, place) => note(short(one.label, Math.max(24, width / 12 | 0)), {
      x: 0, xref: "paper", y: convert(places[place], view.unit), xanchor: "left", yanchor: "bottom",
      xshift: 3, font: { ...SMALL, color: one.color },
    }));
    const ends = channels.flatMap((one, place) => {
      const last = one.time_s.findLastIndex((time, at) => time <= view.to && time >= view.from && one.temperature_c[at] !== null);
      return last < 0 ? [] : [{ name: one.name, color: about.colours[place % about.colours.length], at: one.temperature_c[last] }];
    });
    const beside = spreadApart(ends.map((end) => end.at), 17 * scale, low + 8 * scale, high - 8 * scale);
    const lines = ends.map((end, place) => note(short(end.name, width < 500 ? 5 : 12), {
      x: 1, xref: "paper", y: convert(beside[place], view.unit), xanchor: "left", xshift: 6,
      font: { ...FONT, color: end.color, weight: 600 },
    }));
    const marks = about.marks
      .filter((mark) => mark.to_s >= view.from && mark.from_s <= view.to)
      .map((mark, place) => {
        const from = Math.max(mark.from_s, view.from);
        const isLate = (from - view.from) / (view.to - view.from) > 0.7;
        return note(`▲ ${mark.channel ? `${mark.channel}: ` : ""}${mark.words}`, {
          x: from, y: 1, yref: "paper", yanchor: "top", yshift: -15 * (place % 5),
          xanchor: isLate ? "right" : "left", font: { ...SMALL, color: STOP },
        });
      });
    return [...zones, ...levels, ...lines, ...marks];
  };

  const setPoints = (heater) => ({
    type: "scatter", mode: "lines", hoverinfo: "skip", connectgaps: false, opacity: 0.7,
    x: about.zones.flatMap((zone) => [zone.from_s, zone.to_s]),
    y: about.zones.flatMap((zone) => Array(2).fill(convert(zone[`${heater}_c`], view.unit))),
    line: { color: SETS[heater], width: 1.4 },
  });

  const draw = async () => {
    const narrow = frame.clientWidth < 560;
    const margin = { l: 56, r: narrow ? 48 : 110, t: 8, b: 48 };
    const [low, high] = heights();
    const lines = channels.map((one, place) => ({
      type: "scatter", mode: "lines", name: readable(one.name), connectgaps: false,
      x: one.time_s, y: one.temperature_c.map((at) => convert(at, view.unit)),
      line: { color: about.colours[place % about.colours.length], dash: DASHES[place % DASHES.length], width: 2.2 },
      hovertemplate: `%{y:.1f} ${words()}`,
    }));
    const marks = about.marks.map((mark) => ({
      type: "rect", layer: "below", yref: "paper", y0: 0, y1: 1, fillcolor: "rgba(156, 31, 31, 0.12)",
      x0: mark.from_s, x1: mark.to_s, line: { color: STOP, width: 0.6 },
    }));
    drawing = true;
    await window.Plotly.react(frame, [setPoints("top"), setPoints("bottom"), ...lines], {
      font: FONT, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "#fffcf4", margin, showlegend: false,
      hovermode: "x unified", dragmode: "zoom", hoverlabel: { bgcolor: "#fffcf4", font: FONT },
      xaxis: { title: { text: "time, s" }, gridcolor: RULE, zeroline: false, range: [view.from, view.to], hoverformat: ".1f" },
      yaxis: { title: { text: words() }, gridcolor: RULE, zeroline: false, fixedrange: true, range: [convert(low, view.unit), convert(high, view.unit)] },
      shapes: [
        ...zoneShapes(), ...marks, level(about.liquidus_c, "dash", INK),
        ...about.levels.map((one) => level(one.at_c, "dot", STOP)),
      ],
      annotations: annotate(low, high, frame.clientWidth - margin.l - margin.r, Math.max(frame.clientHeight - margin.t - margin.b, 50)),
    }, { responsive: true, displaylogo: false, displayModeBar: false, doubleClick: false, scrollZoom: false });
    drawing = false;
  };

  const query = (unit = view.unit, whole = isWhole()) => {
    const asked = new URLSearchParams();
    if (!whole) {
      asked.set("from", +view.from.toFixed(2));
      asked.set("to", +view.to.toFixed(2));
    }
    if (unit !== "C") asked.set("unit", unit);
    const here = new URLSearchParams(location.search);
    if (here.get("window")) asked.set("window", here.get("window"));
    for (const one of here.getAll("show")) asked.append("show", one);
    return asked.size ? `?${asked}` : "";
  };

  const follow = () => {
    history.replaceState(null, "", location.pathname + query() + location.hash);
    form.elements.unit.value = view.unit;
    form.elements.from.value = isWhole() ? "" : +view.from.toFixed(2);
    form.elements.to.value = isWhole() ? "" : +view.to.toFixed(2);
    for (const link of document.querySelectorAll("a[data-view]")) {
      const { view: kind, unit } = link.dataset;
      link.search = query(unit, kind === "whole" || isWhole());
      if (kind === "unit") link.setAttribute("aria-current", unit === view.unit);
    }
  };

  // The tables are the server's, fetched again for what is seen.
  let waiting;
  const refresh = async () => {
    const asked = location.href;
    const answer = await fetch(asked);
    if (!answer.ok || asked !== location.href) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const old of document.querySelectorAll("[data-follow]")) {
      const fresh = page.getElementById(old.id);
      if (!fresh) continue;
      const open = old.querySelector("details")?.open;
      if (open !== undefined) fresh.querySelector("details").open = open;
      old.replaceWith(fresh);
    }
  };

  const show = (from, to, unit = view.unit) => {
    const span = Math.min(Math.max(to - from, Math.min(NARROWEST_S, duration)), duration);
    view.from = Math.min(Math.max(from, 0), duration - span);
    view.to = view.from + span;
    view.unit = unit;
    follow();
    clearTimeout(waiting);
    waiting = setTimeout(() => refresh().catch(() => {}), 300);
    return draw();
  };
  const tell = () => { said.textContent = `Seen: ${view.from.toFixed(1)} s to ${view.to.toFixed(1)} s`; };

  const read = () => {
    const values = channels.map((one) => {
      const after = one.time_s.findIndex((time) => time >= cursor);
      const nearest = after > 0 && cursor - one.time_s[after - 1] < one.time_s[after] - cursor ? after - 1 : after;
      const at = one.temperature_c[nearest] ?? null;
      return `${one.name} ${at === null ? "no reading" : `${convert(at, view.unit).toFixed(1)} ${words()}`}`;
    });
    said.textContent = `${cursor.toFixed(1)} s: ${values.join(", ")}`;
    window.Plotly.Fx.hover(frame, { xval: cursor }, "xy");
  };

  const zoom = (factor) => {
    const span = (view.to - view.from) * factor;
    const middle = cursor !== null && cursor >= view.from && cursor <= view.to ? cursor : (view.from + view.to) / 2;
    const share = (middle - view.from) / (view.to - view.from);
    show(middle - share * span, middle + (1 - share) * span).then(tell);
  };

  const STEPS = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10, Home: -1e9, End: 1e9 };
  frame.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const span = view.to - view.from;
    const step = STEPS[event.key];
    if (event.key === "+" || event.key === "=") zoom(0.5);
    else if (event.key === "-" || event.key === "_") zoom(2);
    else if (event.key === "0") show(0, duration).then(tell);
    else if (step === undefined) return;
    else if (event.shiftKey) show(view.from + (step * span) / 10, view.from + (step * span) / 10 + span).then(tell);
    else {
      cursor = Math.min(view.to, Math.max(view.from, (cursor ?? view.from) + (step * span) / 200));
      read();
    }
    event.preventDefault();
  });

  form.addEventListener("submit", (event) => {
    const from = form.elements.from.value.trim() === "" ? 0 : Number(form.elements.from.value);
    const to = form.elements.to.value.trim() === "" ? duration : Number(form.elements.to.value);
    // What cannot be shown goes to the server, which says why.
    if (!(from >= 0 && from < Math.min(to, duration))) return;
    event.preventDefault();
    show(from, Math.min(to, duration)).then(tell);
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-view]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || link.dataset.view === "export") return;
    event.preventDefault();
    if (link.dataset.view === "whole") show(0, duration).then(tell);
    if (link.dataset.view === "unit") show(view.from, view.to, link.dataset.unit).then(() => (cursor === null ? tell() : read()));
    if (link.dataset.view === "copy") {
      const copied = navigator.clipboard?.writeText(link.href) ?? Promise.reject(new Error("no clipboard"));
      copied.then(
        () => { said.textContent = "The address of this view is copied."; },
        () => { said.textContent = `The address of this view: ${link.href}`; },
      );
    }
  });

  const begin = async () => {
    frame.replaceChildren();
    await draw();
    frame.on("plotly_relayout", (change) => {
      if (drawing || change["xaxis.range[0]"] === undefined) return;
      show(change["xaxis.range[0]"], change["xaxis.range[1]"]);
    });
    frame.on("plotly_doubleclick", () => { show(0, duration); });
    frame.tabIndex = 0;
    frame.setAttribute("role", "application");
    frame.setAttribute("aria-roledescription", "chart");
    frame.setAttribute("aria-label", "Trace; arrow keys read all channels, plus and minus see less or more");
    frame.dataset.drawn = "yes";
  };
  return begin();
};

if (frame) {
  fetch(frame.dataset.samples, { headers: { Accept: "application/json" } })
    .then((answer) => {
      if (!answer.ok) throw new Error(`the samples cannot be read (${answer.status})`);
      return answer.json();
    })
    .then((trace) => start(trace.channels, JSON.parse(frame.dataset.chart)))
    .catch((error) => {
      frame.textContent = `The chart cannot be drawn: ${error.message}. The figures below are whole.`;
    });
}
