// Draws the trace of a run with plotly: zones, liquidus, limits, and a name at each line's end.

const frame = document.querySelector("#chart[data-samples]");
const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot"];
const INK = "#2a2723";
const RULE = "#d8cdb8";
const FONT = { family: "system-ui, sans-serif", size: 14, color: INK };

const level = (at, dash, colour) => ({
  type: "line", xref: "paper", x0: 0, x1: 1, y0: at, y1: at, layer: "below",
  line: { color: colour, width: 1.5, dash },
});

const zoneShapes = (zones, last) =>
  zones.filter((zone) => zone.from_s < last).map((zone, place) => ({
    type: "rect", layer: "below", yref: "paper", y0: 0, y1: 1,
    x0: zone.from_s, x1: Math.min(zone.to_s, last), line: { width: 0 },
    fillcolor: place % 2 ? "rgba(120, 100, 60, 0.13)" : "rgba(120, 100, 60, 0.05)",
  }));

// A name is left out where its zone is drawn narrower than the name.
const zoneNames = (zones, last, width) =>
  zones
    .filter((zone) => ((Math.min(zone.to_s, last) - zone.from_s) / last) * width > zone.name.length * 7 + 6)
    .map((zone) => ({
      text: zone.name, x: zone.from_s, y: 0, yref: "paper", xanchor: "left", yanchor: "bottom",
      showarrow: false, font: { ...FONT, size: 12 }, xshift: 3,
    }));

// Names that would lie on each other are pushed apart, top to bottom.
const lineNames = (channels, colours, span) => {
  const ends = channels
    .map((channel, place) => {
      const last = channel.temperature_c.findLastIndex((value) => value !== null);
      return { channel, place, last, at: channel.temperature_c[last] };
    })
    .filter((end) => end.last >= 0)
    .sort((a, b) => b.at - a.at);
  let lowest = Infinity;
  return ends.map((end) => {
    const wanted = Math.min(end.at, lowest - span * 0.055);
    lowest = wanted;
    return {
      text: end.channel.name, x: end.channel.time_s[end.last], y: wanted, xanchor: "left",
      showarrow: false, xshift: 6,
      font: { ...FONT, color: colours[end.place % colours.length], weight: 600 },
    };
  });
};

const readable = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;");

const draw = async () => {
  const asked = await fetch(frame.dataset.samples, { headers: { Accept: "application/json" } });
  if (!asked.ok) throw new Error(`the samples cannot be read (${asked.status})`);
  const trace = await asked.json();
  const about = JSON.parse(frame.dataset.chart);
  const channels = trace.channels.map((one) => ({ ...one, name: readable(one.name) }));
  const temperatures = channels.flatMap((one) => one.temperature_c.filter((at) => at !== null));
  const top = temperatures.reduce((a, b) => Math.max(a, b), about.liquidus_c) * 1.06;
  const bottom = temperatures.reduce((a, b) => Math.min(a, b), 20);
  const last = channels.reduce((a, one) => Math.max(a, one.time_s.at(-1) ?? 0), 1);
  const narrow = frame.clientWidth < 560;
  const lines = channels.map((channel, place) => ({
    type: "scatter", mode: "lines", name: channel.name, x: channel.time_s, y: channel.temperature_c,
    connectgaps: false,
    line: { color: about.colours[place % about.colours.length], dash: DASHES[place % DASHES.length], width: 2.2 },
    hovertemplate: "%{y:.1f} °C",
  }));
  const limits = [...new Set(about.limits.map((limit) => limit.at_c))];
  const layout = {
    font: FONT, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "#fffcf4",
    margin: { l: 56, r: narrow ? 44 : 96, t: 8, b: 48 }, showlegend: false,
    hovermode: "x unified", dragmode: "zoom", hoverlabel: { bgcolor: "#fffcf4", font: FONT },
    xaxis: { title: { text: "time, s" }, gridcolor: RULE, zeroline: false, range: [0, last], hoverformat: ".1f" },
    yaxis: { title: { text: "°C" }, gridcolor: RULE, zeroline: false, range: [bottom, top] },
    shapes: [
      ...zoneShapes(about.zones, last),
      level(about.liquidus_c, "dash", INK),
      ...limits.map((at) => level(at, "dot", "#9c1f1f")),
    ],
    annotations: [
      ...zoneNames(about.zones, last, frame.clientWidth - (narrow ? 100 : 152)),
      { text: `liquidus ${about.liquidus_c} °C`, x: 0, xref: "paper", y: about.liquidus_c, xanchor: "left",
        yanchor: "bottom", showarrow: false, font: { ...FONT, size: 12 }, xshift: 3 },
      ...lineNames(channels, about.colours, top - bottom),
    ],
  };
  frame.replaceChildren();
  await window.Plotly.newPlot(frame, lines, layout, {
    responsive: true, displaylogo: false, displayModeBar: false, doubleClick: "reset",
    scrollZoom: false,
  });
  frame.dataset.drawn = "yes";
  frame.removeAttribute("role");
  readWithKeys(channels, last);
};

// Arrow keys move through the trace and say every channel's value.
const readWithKeys = (channels, last) => {
  const spoken = document.createElement("p");
  spoken.className = "chart-said";
  spoken.setAttribute("role", "status");
  frame.after(spoken);
  frame.tabIndex = 0;
  frame.setAttribute("aria-label", "Trace; arrow keys read the temperatures");
  let moment = 0;
  frame.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10, Home: -Infinity, End: Infinity }[event.key];
    if (step === undefined) return;
    event.preventDefault();
    moment = Math.min(last, Math.max(0, moment + (step * last) / 200));
    const values = channels.map((channel) => {
      const at = channel.time_s.findIndex((time) => time >= moment);
      const value = channel.temperature_c[at];
      return `${channel.name} ${value === null || value === undefined ? "no reading" : `${value.toFixed(1)} °C`}`;
    });
    spoken.textContent = `${moment.toFixed(1)} s: ${values.join(", ")}`;
    window.Plotly.Fx.hover(frame, { xval: moment }, "xy");
  });
};

if (frame) {
  draw().catch((error) => {
    frame.textContent = `The chart cannot be drawn: ${error.message}. The figures below are whole.`;
  });
}
