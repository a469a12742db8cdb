// Runs over each other: a cursor that reads all lines, and a part that lives in the address.

const SVG = "http://www.w3.org/2000/svg";
const form = document.querySelector("[data-compare-form]");
const slider = document.querySelector("#compare-cursor");
const NARROWEST_S = 1;
const LEAST_DRAG = 8;
const STEPS = 1000;

let picture;
let seen;
let at;

// On the straight line between two points; null outside the line and where it is interrupted.
const readAt = (times, values, moment) => {
  if (!times.length || moment < times[0] || moment > times[times.length - 1]) return null;
  let low = 0;
  let high = times.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= moment) low = middle;
    else high = middle;
  }
  if (times[low] === moment || high === low) return values[low];
  if (times[high] === moment) return values[high];
  if (values[low] === null || values[high] === null) return null;
  const share = (moment - times[low]) / (times[high] - times[low]);
  return values[low] + share * (values[high] - values[low]);
};

const toTenth = (value) => Math.round(value * 10) / 10 || 0;
const spell = (value, signed = false) => {
  const text = toTenth(value).toFixed(1).replace("-", "−");
  return `${signed && toTenth(value) >= 0 ? "+" : ""}${text}`;
};

const placeX = (moment) =>
  seen.plane.left + ((moment - seen.from_s) / (seen.to_s - seen.from_s)) * seen.plane.width;
const placeY = (value) =>
  seen.plane.top + ((seen.plane.high - value) / (seen.plane.high - seen.plane.low)) * seen.plane.height;

const make = (name, attributes) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
};

const draw = (values, isFollowed) => {
  const svg = picture.querySelector("svg");
  svg.querySelector("[data-overlay]")?.remove();
  const overlay = make("g", { "data-overlay": "", "pointer-events": "none" });
  const x = placeX(at);
  overlay.append(make("line", {
    x1: x, x2: x, y1: seen.plane.top, y2: seen.plane.top + seen.plane.height, stroke: "#2a2723", "stroke-width": 1.5,
  }));
  values.forEach((value, place) => {
    if (value === null) return;
    overlay.append(make("circle", {
      cx: x, cy: placeY(value), r: 5, fill: "#fffcf4", stroke: seen.lines[place].colour, "stroke-width": 2.5,
    }));
  });
  svg.append(overlay);
  // On a narrow screen the picture is scrolled, so that the cursor stays in sight.
  if (!isFollowed) return;
  const shown = (x / svg.viewBox.baseVal.width) * svg.clientWidth;
  if (shown < picture.scrollLeft || shown > picture.scrollLeft + picture.clientWidth) {
    picture.scrollLeft = shown - picture.clientWidth / 2;
  }
};

const read = (isFollowed = true) => {
  const values = seen.lines.map((line) => readAt(line.time_s, line.at, at));
  const difference = seen.unit.replace("°C", "K");
  const put = (selector, text) => {
    const cell = document.querySelector(`#compare-readings ${selector}`);
    if (cell) cell.textContent = text;
  };
  put("[data-moment]", spell(at));
  values.forEach((value, place) => {
    put(`[data-read="${place}"]`, value === null ? "no reading" : `${spell(value)} ${seen.unit}`);
    const both = place > 0 && value !== null && values[0] !== null;
    put(`[data-more="${place}"]`, both ? `${spell(toTenth(value) - toTenth(values[0]), true)} ${difference}` : "–");
  });
  if (seen.band) {
    const [low, high] = ["low", "high"].map((side) => readAt(seen.band.time_s, seen.band[side], at));
    put("[data-band]", low === null ? "does not reach here" : `${spell(low)} ${seen.unit} to ${spell(high)} ${seen.unit}`);
  }
  slider.value = String(Math.round(((at - seen.from_s) / (seen.to_s - seen.from_s)) * STEPS));
  const said = seen.lines.map((line, place) =>
    `${line.name} ${values[place] === null ? "no reading" : `${spell(values[place])} ${seen.unit}`}`);
  slider.setAttribute("aria-valuetext", `${spell(at)} s: ${said.join(", ")}`);
  draw(values, isFollowed);
};

const begin = () => {
  picture = document.querySelector("#compare-picture");
  seen = JSON.parse(picture.dataset.compare);
  at = Math.min(Math.max(at ?? seen.at_s, seen.from_s), seen.to_s);
  // Nobody has moved the cursor yet: the picture stays where it begins, at its left.
  read(false);
  listen();
};

// Tables, picture and links are the server's, fetched again for what the address says.
let waiting;
let pending = [];
const refresh = async (kinds) => {
  const asked = location.href;
  const answer = await fetch(asked);
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  // What was asked for since then waits to be fetched, and brings this along.
  if (asked !== location.href) {
    pending.push(...kinds);
    return;
  }
  for (const old of document.querySelectorAll("[data-compared]")) {
    const fresh = page.getElementById(old.id);
    if (fresh && kinds.includes(old.dataset.compared)) old.replaceWith(fresh);
  }
  if (kinds.includes("part")) begin();
};

const follow = (kind, wait) => {
  const asked = new URLSearchParams(location.search);
  const isWhole = seen.from_s <= seen.first_s && seen.to_s >= seen.last_s;
  const put = (name, value) => {
    if (value === "") asked.delete(name);
    else asked.set(name, value);
    form.elements[name].value = value;
  };
  put("from", isWhole ? "" : String(+seen.from_s.toFixed(3)));
  put("to", isWhole ? "" : String(+seen.to_s.toFixed(3)));
  put("at", String(+at.toFixed(3)));
  history.replaceState(null, "", `${location.pathname}?${asked}`);
  pending.push(kind);
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    const kinds = pending.includes("part") ? ["part", "cursor"] : ["cursor"];
    pending = [];
    refresh(kinds).catch(() => {});
  }, wait);
};

const point = (moment) => {
  at = Math.min(Math.max(moment, seen.from_s), seen.to_s);
  read();
  follow("cursor", 500);
};

const show = (from, to) => {
  const all = seen.last_s - seen.first_s;
  const span = Math.min(Math.max(to - from, Math.min(NARROWEST_S, all)), all);
  seen.from_s = Math.min(Math.max(from, seen.first_s), seen.last_s - span);
  seen.to_s = seen.from_s + span;
  at = Math.min(Math.max(at, seen.from_s), seen.to_s);
  follow("part", 120);
};

const zoom = (factor) => {
  if (!factor) {
    show(seen.first_s, seen.last_s);
    return;
  }
  const span = (seen.to_s - seen.from_s) * factor;
  const share = (at - seen.from_s) / (seen.to_s - seen.from_s);
  show(at - share * span, at + (1 - share) * span);
};

const listen = () => {
  const svg = picture.querySelector("svg");
  const wide = svg.viewBox.baseVal.width;
  let pressed = null;
  let shade = null;
  const momentOf = (event) => {
    const box = svg.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * wide;
    const share = (x - seen.plane.left) / seen.plane.width;
    return seen.from_s + Math.min(Math.max(share, 0), 1) * (seen.to_s - seen.from_s);
  };
  picture.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    if (event.pointerType === "mouse") pressed = { x: event.clientX, moment: momentOf(event) };
    point(momentOf(event));
  });
  picture.addEventListener("pointermove", (event) => {
    // A finger that moves scrolls the page; it reads where it taps.
    if (event.pointerType !== "mouse") return;
    const moment = momentOf(event);
    if (!pressed) {
      point(moment);
      return;
    }
    shade?.remove();
    const [left, right] = [pressed.moment, moment].map(placeX).sort((a, b) => a - b);
    shade = make("rect", {
      x: left, y: seen.plane.top, width: right - left, height: seen.plane.height,
      fill: "#17506f", "fill-opacity": 0.15, "pointer-events": "none",
    });
    svg.append(shade);
  });
  const release = (event) => {
    shade?.remove();
    if (pressed && Math.abs(event.clientX - pressed.x) >= LEAST_DRAG) {
      const [from, to] = [pressed.moment, momentOf(event)].sort((a, b) => a - b);
      show(from, to);
    }
    pressed = null;
  };
  picture.addEventListener("pointerup", release);
  picture.addEventListener("pointerleave", () => { shade?.remove(); pressed = null; });
};

const KEYS = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10, Home: -1e6, End: 1e6 };
const press = (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const span = seen.to_s - seen.from_s;
  const step = KEYS[event.key];
  if (event.key === "+" || event.key === "=") zoom(0.5);
  else if (event.key === "-" || event.key === "_") zoom(2);
  else if (event.key === "0") zoom(0);
  else if (step === undefined) return;
  else if (event.shiftKey) show(seen.from_s + (step * span) / 10, seen.to_s + (step * span) / 10);
  else point(at + (step * span) / 200);
  event.preventDefault();
};

if (form && slider && document.querySelector("[data-compare]")) {
  for (const one of document.querySelectorAll("[data-needs-script]")) one.hidden = false;
  slider.addEventListener("keydown", press);
  slider.addEventListener("input", () => point(seen.from_s + (slider.value / STEPS) * (seen.to_s - seen.from_s)));
  for (const button of document.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => zoom(Number(button.dataset.zoom)));
  }
  begin();
}
