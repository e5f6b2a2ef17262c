// Ties the lists and the map together, and switches the units. All figures are in the page already.
"use strict";

(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const root = document.documentElement;
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");
  const words = {
    feet: "Lengths and distances are now in feet and miles.",
    metres: "Lengths and distances are now in metres and kilometres.",
    ...data.words,
  };

  // --- units ---

  const switches = UnitSwitch(words);

  // --- map ---

  const map = FramedMap(data.attribution, { minZoom: 5, zoomAnimation: !still.matches });

  const colour = (name) => getComputedStyle(root).getPropertyValue(name).trim();
  const car = L.polyline(data.car, { interactive: false });
  const casing = L.polyline(data.drive, { interactive: false });
  const line = L.polyline(data.drive, { interactive: false });
  const unchecked = L.polyline(data.unchecked, { interactive: false });
  const everything = L.latLngBounds([]);
  for (const layer of [car, casing, line, unchecked]) if (!layer.isEmpty()) everything.extend(layer.getBounds());
  for (const point of [...data.findings, ...data.stops]) everything.extend(point.at);

  function showAll(animate) {
    // On a screen the buttons of the map take room, on paper there are none.
    const room = root.classList.contains("for-paper") ? [30, 50] : [76, 98];
    if (everything.isValid()) map.fitBounds(everything, { paddingTopLeft: room, paddingBottomRight: [44, 44], maxZoom: 16, animate });
    else if (data.box) map.fitBounds(data.box, { animate });
    else map.setView([0, 0], 5);
  }
  showAll(false);

  if (data.tiles) {
    map.createPane("tiles").style.zIndex = 250;
    const credit = document.createElement("span");
    credit.textContent = data.tiles.attribution;
    L.tileLayer(data.tiles.url, { pane: "tiles", maxZoom: 19, attribution: credit.innerHTML }).addTo(map);
  }
  // A server gives the roads of what is in view; a file holds those near the drive.
  const redrawRoads = data.roads ? BaseMap(map, data) : AreaMap(map, data);
  if (data.tiles) map.getPane("roads").style.opacity = 0.45;
  for (const layer of [car, casing, line, unchecked]) layer.addTo(map);

  function restyle() {
    casing.setStyle({ color: colour("--on-drive"), weight: 9, opacity: 0.9 });
    line.setStyle({ color: colour("--drive"), weight: 5.5, opacity: 1 });
    car.setStyle({ color: colour("--car"), weight: 2.2, opacity: 1, dashArray: "3 7", lineCap: "butt" });
    unchecked.setStyle({ color: colour("--too-low"), weight: 5, opacity: 1, dashArray: "1 10" });
    redrawRoads();
  }
  restyle();
  // Names drawn before the packed letters are ready would stand there in others.
  document.fonts.ready.then(restyle);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", restyle);

  const far = () => map.getContainer().classList.toggle("far", map.getZoom() < 14);
  map.on("zoomend", far);
  far();

  // What other scripts of a page do with the map.
  window.pageMap = map;

  // --- the link between list and map ---

  let chosen = null;
  const marks = Marks.addAll(map, data, (id) => choose(id, "map"));
  const spread = () => Marks.spread(map, chosen);
  map.on("zoomend", spread);
  for (const button of switches) button.addEventListener("click", spread);
  spread();
  // Badges have another width in other letters.
  document.fonts.ready.then(spread);

  function mark(id, on) {
    const entry = document.getElementById(id);
    entry.classList.toggle("is-chosen", on);
    const button = entry.querySelector(".choose");
    if (on) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
    marks.get(id).marker.getElement().classList.toggle("is-chosen", on);
  }

  function choose(id, from) {
    if (chosen) mark(chosen, false);
    chosen = id;
    mark(id, true);
    if (from === "list") {
      spread();
      show(marks.get(id).at);
      return;
    }
    const entry = document.getElementById(id);
    entry.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
    entry.querySelector(".choose").focus({ preventScroll: true });
  }

  function show(at) {
    map.setView(at, Math.max(map.getZoom(), 16), { animate: !still.matches });
  }

  for (const button of document.querySelectorAll("[data-choose]")) {
    button.addEventListener("click", () => choose(button.dataset.choose, "list"));
  }
  for (const button of document.querySelectorAll("[data-show]")) {
    button.addEventListener("click", () => show(button.dataset.show.split(",").map(Number)));
  }
  document.getElementById("whole").addEventListener("click", () => showAll(!still.matches));

  // --- paper: the map is drawn for it, whole, in the size it has there ---

  function isTall() {
    if (!everything.isValid()) return false;
    const low = map.project(everything.getSouthWest(), 12);
    const high = map.project(everything.getNorthEast(), 12);
    return low.y - high.y > high.x - low.x;
  }

  const screen = { view: null };
  window.addEventListener("beforeprint", () => {
    screen.view = [map.getCenter(), map.getZoom()];
    root.classList.add("for-paper");
    root.classList.toggle("tall", isTall());
    map.invalidateSize({ animate: false });
    showAll(false);
    restyle();
  });
  window.addEventListener("afterprint", () => {
    root.classList.remove("for-paper", "tall");
    map.invalidateSize({ animate: false });
    if (screen.view) map.setView(...screen.view, { animate: false });
    restyle();
  });
})();
