// Ties the tables and the map of a screening together, sorts and filters. All figures are in the page already.
// Where a server shows a part of the rows (`data.whole` is false) it sorts and filters itself, by links.
"use strict";

(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const root = document.documentElement;
  const status = document.getElementById("status");
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");
  const colour = (name) => getComputedStyle(root).getPropertyValue(name).trim();

  // --- units ---

  const words = {
    feet: "Lengths and distances are now in feet and miles.",
    metres: "Lengths and distances are now in metres and kilometres.",
    homeIs: "Home: {what}",
    sortedUp: "Sorted by {what}, ascending.",
    sortedDown: "Sorted by {what}, descending.",
    shown: "{n} of {total} shown",
    ...data.words,
  };
  const whole = data.whole !== false;
  UnitSwitch(words);

  // --- map ---

  const map = FramedMap(data.attribution, { minZoom: 4, zoomAnimation: !still.matches });
  const everything = L.latLngBounds(data.marks.map((mark) => mark.at));
  const showAll = (animate) => map.fitBounds(everything, { padding: [60, 60], maxZoom: 16, animate });
  showAll(false);
  document.getElementById("whole").addEventListener("click", () => showAll(!still.matches));
  // Names keep clear of the marks, where these are not too many to be gone round.
  const beneath = { ...data, stops: data.marks.slice(0, 400) };
  const redrawRoads = data.roads ? BaseMap(map, beneath) : AreaMap(map, beneath);

  // Thousands of marks: drawn on one canvas, in the shapes that the tables show.
  const COLOURS = { blocked: "--too-low", care: "--tight", "clear-pin": "--clear", home: "--drive", "too-low": "--too-low", unverified: "--unverified", tight: "--tight", clear: "--clear" };
  const OUTLINES = {
    pin: [[-15, -37], [15, -37], [15, -10], [7, -10], [0, 0], [-7, -10], [-15, -10]],
    "too-low": [[-7, -19], [0, -13], [7, -19], [19, -7], [13, 0], [19, 7], [7, 19], [0, 13], [-7, 19], [-19, 7], [-13, 0], [-19, -7]],
    tight: [[0, -19], [19, 18], [-19, 18]],
    unverified: [[-17, -17], [17, -17], [17, 17], [-17, 17]],
  };

  const Shape = L.CircleMarker.extend({
    _updatePath() {
      const pen = this._renderer._ctx;
      if (!this._renderer._drawing || this._empty()) return;
      const { look, sign, size, chosen } = this.options;
      const at = this._point;
      const unit = size / 40;
      const hue = colour(COLOURS[look === "clear" && this.options.pin ? "clear-pin" : look]);
      const open = look === "clear" || look === "unverified";
      pen.save();
      pen.translate(at.x, at.y);
      pen.scale(unit, unit);
      pen.beginPath();
      const outline = this.options.pin ? OUTLINES.pin : OUTLINES[look];
      if (outline) outline.forEach(([x, y], n) => (n ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      else pen.arc(0, 0, 15, 0, 2 * Math.PI);
      pen.closePath();
      pen.lineJoin = "round";
      pen.lineWidth = chosen ? 9 : open ? 7 : 4;
      pen.strokeStyle = chosen ? colour("--ink") : colour("--sheet");
      pen.stroke();
      pen.fillStyle = open ? colour("--sheet") : hue;
      pen.fill();
      if (open) {
        pen.lineWidth = 3.4;
        pen.strokeStyle = hue;
        if (look === "unverified") pen.setLineDash([6.5, 3.2]);
        pen.stroke();
      }
      pen.fillStyle = open ? hue : colour("--on-solid");
      pen.font = "700 20px Sheet, system-ui, sans-serif";
      pen.textAlign = "center";
      pen.fillText(sign, 0, this.options.pin ? -16 : look === "tight" ? 14 : 7);
      pen.restore();
    },
    // Clicks count where the shape is; a pin stands above the place it means.
    _containsPoint(point) {
      const unit = this.options.size / 40;
      const middle = this.options.pin ? this._point.subtract([0, 22 * unit]) : this._point;
      return point.distanceTo(middle) <= 19 * unit;
    },
    _updateBounds() {
      const reach = L.point(this.options.size, this.options.size);
      this._pxBounds = L.bounds(this._point.subtract(reach), this._point.add(reach));
    },
  });

  // What a mark is called stands in its row.
  function named(mark) {
    if (!mark.id) return words.homeIs.replace("{what}", mark.name);
    const row = document.getElementById(mark.id);
    const cells = row.querySelectorAll("tr:first-child > th, tr:first-child > td");
    const coach = document.querySelector('[data-key="coach"]') && mark.pin ? `, ${cells[1].textContent}` : "";
    return `${row.querySelector(".go").textContent}: ${row.querySelector(".word span").textContent}${coach}`;
  }

  map.createPane("places").style.zIndex = 460; // above the names of roads
  const canvas = L.canvas({ pane: "places", padding: 0.3 });
  const marks = new Map();
  // The gravest last, so that it lies on top.
  const rank = { clear: 0, tight: 1, unverified: 2, "too-low": 3, care: 5, blocked: 6, home: 7 };
  const weight = (mark) => rank[mark.look] + (mark.pin && mark.look === "clear" ? 4 : 0);
  const lightestFirst = [...data.marks].sort((a, b) => weight(a) - weight(b));
  // Many marks are small until the map is near enough to keep them apart.
  const sized = (mark) => (data.marks.length > 200 && map.getZoom() < 14 ? 0.55 : 1) * (mark.pin ? 34 : 22);
  for (const mark of lightestFirst) {
    const shape = new Shape(mark.at, { ...mark, pane: "places", renderer: canvas, size: sized(mark) });
    shape.bindTooltip(() => {
      const text = document.createElement("span");
      text.textContent = named(mark);
      return text;
    }, { className: "map-tip", offset: [10, 0] });
    if (mark.id) shape.on("click", () => choose(mark.id, "map"));
    shape.addTo(map);
    marks.set(mark.id || "home", { ...mark, shape });
  }

  map.on("zoomend", () => {
    for (const mark of marks.values()) {
      const { shape } = mark;
      if (shape.options.size === sized(mark)) continue;
      shape.options.size = sized(mark);
      if (!map.hasLayer(shape)) continue;
      shape._updateBounds();
      shape.redraw();
    }
  });

  function restyle() {
    redrawRoads();
    for (const { shape } of marks.values()) if (map.hasLayer(shape)) shape.redraw();
  }
  document.fonts.ready.then(restyle);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", restyle);

  // --- the link between table and map ---

  let chosen = null;

  function marked(id, on) {
    const row = document.getElementById(id);
    row.classList.toggle("is-chosen", on);
    const button = row.querySelector(".go");
    if (on) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
    const { shape } = marks.get(id);
    shape.options.chosen = on;
    if (!map.hasLayer(shape)) return;
    shape.redraw();
    if (on) shape.bringToFront();
  }

  function choose(id, from) {
    if (chosen) marked(chosen, false);
    chosen = id;
    marked(id, true);
    if (from === "table") {
      map.setView(marks.get(id).at, Math.max(map.getZoom(), 15), { animate: !still.matches });
      return;
    }
    const row = document.getElementById(id);
    row.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
    row.querySelector(".go").focus({ preventScroll: true });
  }

  for (const button of document.querySelectorAll("[data-choose]")) {
    button.addEventListener("click", () => choose(button.dataset.choose, "table"));
  }

  // --- sorting ---

  function value(row, key) {
    const text = row.getAttribute(`data-${key}`);
    if (text === null || text === "") return null;
    const number = Number(text);
    return Number.isNaN(number) ? text : number;
  }

  // What is not told comes last, whichever way the others go.
  function compared(a, b, key, up) {
    const [one, other] = [value(a, key), value(b, key)];
    if (one === null || other === null) return (one === null) - (other === null);
    const order = typeof one === "number" && typeof other === "number" ? one - other : String(one).localeCompare(String(other));
    return up ? order : -order;
  }

  for (const button of document.querySelectorAll(".sort")) {
    if (!whole) break;
    const table = button.closest("table");
    button.addEventListener("click", (event) => {
      event.preventDefault();
      const head = button.closest("th");
      const up = head.getAttribute("aria-sort") !== "ascending";
      for (const other of head.parentElement.children) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      table.append(...[...table.tBodies].sort((a, b) => compared(a, b, button.dataset.key, up)));
      status.textContent = (up ? words.sortedUp : words.sortedDown).replace("{what}", button.textContent.toLowerCase());
    });
  }

  // --- which rows are shown ---

  const rows = [...document.querySelectorAll("#destinations tbody")];
  const coaches = document.querySelectorAll("button[data-coach]");
  const find = document.getElementById("find");
  const form = find.form;
  let coach = "";

  function filter() {
    const wanted = find.value.trim().toLowerCase();
    let count = 0;
    for (const row of rows) {
      const on = (coach === "" || row.dataset.coach === coach) && (!wanted || row.textContent.toLowerCase().includes(wanted));
      row.hidden = !on;
      count += on;
      const { shape } = marks.get(row.id);
      if (on !== map.hasLayer(shape)) map[on ? "addLayer" : "removeLayer"](shape);
    }
    // What is shown again would lie on top of graver marks.
    for (const mark of lightestFirst) marks.get(mark.id || "home").shape.bringToFront();
    if (chosen) marks.get(chosen).shape.bringToFront();
    const told = words.shown.replace("{n}", count).replace("{total}", rows.length);
    document.getElementById("shown").textContent = count === rows.length ? "" : told;
  }

  if (whole) find.addEventListener("input", filter);
  for (const button of coaches) {
    button.addEventListener("click", () => {
      coach = button.dataset.coach;
      for (const other of coaches) other.setAttribute("aria-pressed", String(other === button));
      filter();
    });
  }
  if (form && whole) {
    const choice = form.querySelector("select");
    choice?.addEventListener("change", () => {
      coach = choice.value;
      filter();
    });
    form.addEventListener("submit", (event) => event.preventDefault());
    form.querySelector("button").hidden = true;
  }
  window.pageMap = map;
})();
