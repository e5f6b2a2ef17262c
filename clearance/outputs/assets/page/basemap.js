// What the page of a drive and that of a screening share: the roads beneath, as packed lines drawn on one canvas with
// their names; the map with both scales; the switch of units.
"use strict";

const BaseMap = (() => {
  const SCALE = 1e5;
  // Drawn in this order. Widths in pixels at zoom 13 and how they grow per step; `from` is the lowest zoom.
  const CLASSES = {
    rail: { colour: "--rail", width: 1.6, grow: 1.12, from: 10, dash: "7 4", names: 99 },
    service: { colour: "--road-minor", edge: true, width: 1.2, grow: 1.35, from: 14, names: 17 },
    minor: { colour: "--road", edge: true, width: 2.2, grow: 1.35, from: 12, names: 15 },
    middle: { colour: "--road", edge: true, width: 3.6, grow: 1.3, from: 10, names: 14 },
    major: { colour: "--road-major", edge: true, width: 4.6, grow: 1.28, from: 0, names: 13 },
  };

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  }

  // [name, lon, lat, dlon, dlat, ...] in whole 1e-5 degrees -> {name, points: [[lat, lon], ...], box}
  function unpacked(packed) {
    const points = [];
    let lon = 0;
    let lat = 0;
    for (let i = 1; i < packed.length; i += 2) {
      lon += packed[i];
      lat += packed[i + 1];
      points.push([lat / SCALE, lon / SCALE]);
    }
    return { name: packed[0], points, box: L.latLngBounds(points) };
  }

  const SVG = "http://www.w3.org/2000/svg";

  function drawn(tag, parent, attributes) {
    const element = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    parent.append(element);
    return element;
  }

  // The angle in radians by which the way from `b` to `c` leaves that from `a` to `b`.
  function bend(a, b, c) {
    const turned = Math.atan2(c.y - b.y, c.x - b.x) - Math.atan2(b.y - a.y, b.x - a.x);
    return Math.abs(((turned + 3 * Math.PI) % (2 * Math.PI)) - Math.PI);
  }

  // Names of roads, each on a plate on the longest straight part of its line, where there is room.
  // In SVG, since a second canvas above the drive would print as an opaque sheet.
  const Names = L.Layer.extend({
    initialize(lines, data) {
      this._lines = lines;
      this._names = data.names;
      this._marks = [...data.findings, ...data.stops].map((mark) => mark.at);
      this._pen = document.createElement("canvas").getContext("2d");
    },
    onAdd(map) {
      this._sheet = drawn("svg", map.getPane("names"), { class: "road-names leaflet-zoom-hide", "aria-hidden": "true" });
      map.on("moveend zoomend resize", this.draw, this);
      this.draw();
    },
    onRemove(map) {
      map.off("moveend zoomend resize", this.draw, this);
      this._sheet.remove();
    },
    draw() {
      const map = this._map;
      const size = map.getSize();
      this._sheet.replaceChildren();
      this._sheet.setAttribute("width", size.x);
      this._sheet.setAttribute("height", size.y);
      L.DomUtil.setPosition(this._sheet, map.containerPointToLayerPoint([0, 0]));
      this._pen.font = `14px ${getComputedStyle(document.body).fontFamily}`;
      const zoom = map.getZoom();
      const view = map.getBounds();
      // Names keep clear of the marks, which lie above them.
      const taken = this._marks.map((at) => ({ ...map.latLngToContainerPoint(at), half: 16 }));
      for (const kind of Object.keys(CLASSES).reverse()) {
        if (zoom < CLASSES[kind].names) continue;
        for (const line of this._lines[kind]) {
          if (line.name && view.intersects(line.box)) this._write(line, size, taken);
        }
      }
    },
    _write(line, size, taken) {
      const text = this._names[line.name];
      const half = this._pen.measureText(text).width / 2 + 4;
      let best = null;
      let room = half * 2 + 4;
      // A run is a part of the line that is nearly straight: roads bend a little at every node.
      let start = null;
      let before = null;
      for (const point of line.points) {
        const here = this._map.latLngToContainerPoint(point);
        if (before) {
          if (start !== before && bend(start, before, here) > 0.15) start = before;
          const length = Math.hypot(here.x - start.x, here.y - start.y);
          const x = (here.x + start.x) / 2;
          const y = (here.y + start.y) / 2;
          if (length > room && x > half && y > half && x < size.x - half && y < size.y - half) {
            room = length;
            best = { x, y, angle: (Math.atan2(here.y - start.y, here.x - start.x) * 180) / Math.PI };
          }
        } else {
          start = here;
        }
        before = here;
      }
      if (!best) return;
      for (const other of taken) {
        const gap = Math.hypot(other.x - best.x, other.y - best.y);
        if (gap < (other.text === text ? 320 : half + other.half + 4)) return;
      }
      taken.push({ x: best.x, y: best.y, half, text });
      const angle = Math.abs(best.angle) > 90 ? best.angle + 180 : best.angle;
      const plate = drawn("g", this._sheet, { transform: `translate(${best.x} ${best.y}) rotate(${angle})` });
      drawn("rect", plate, { x: -half, y: -9, width: half * 2, height: 18 });
      drawn("text", plate, { y: 5 }).textContent = text;
    },
  });

  // Adds the roads of `data` to `map`; returns a function that draws them anew after a change of
  // colours; its `remove` takes them away again.
  return function addBaseMap(map, data) {
    for (const [name, z] of [["roads", 300], ["names", 450]]) {
      if (!map.getPane(name)) map.createPane(name);
      map.getPane(name).style.zIndex = z;
      map.getPane(name).style.pointerEvents = "none";
    }
    const renderer = L.canvas({ pane: "roads", padding: 0.3 });
    const lines = {};
    const layers = [];
    for (const edges of [true, false]) {
      for (const [kind, look] of Object.entries(CLASSES)) {
        lines[kind] = lines[kind] || data.roads[kind].map(unpacked);
        if (!lines[kind].length || (edges && !look.edge)) continue;
        const layer = L.polyline(lines[kind].map((line) => line.points), {
          renderer,
          interactive: false,
          smoothFactor: 1.2,
          dashArray: look.dash || null,
        });
        layers.push({ layer, look, edges });
      }
    }
    const names = new Names(lines, data);

    function restyle() {
      const zoom = map.getZoom();
      for (const { layer, look, edges } of layers) {
        if (zoom < look.from) {
          layer.remove();
          continue;
        }
        const width = look.width * look.grow ** (zoom - 13);
        layer.setStyle({
          color: colour(edges ? "--road-edge" : look.colour),
          weight: Math.max(edges ? width + 2 : width, 0.6),
          opacity: 1,
        });
        layer.addTo(map);
      }
      // Added anew at another zoom, a class would lie above its betters.
      for (const { layer } of layers) if (map.hasLayer(layer)) layer.bringToFront();
    }
    map.on("zoomend", restyle);
    restyle();
    names.addTo(map);
    const redraw = () => {
      restyle();
      names.draw();
    };
    redraw.remove = () => {
      map.off("zoomend", restyle);
      for (const { layer } of layers) layer.remove();
      names.remove();
      renderer.remove();
    };
    return redraw;
  };
})();

// The buttons; `words` holds what to say once each is pressed.
const UnitSwitch = (words) => {
  const root = document.documentElement;
  const status = document.getElementById("status");
  const switches = document.querySelectorAll("button[data-units]");
  for (const button of switches) {
    button.addEventListener("click", () => {
      root.dataset.units = button.dataset.units;
      for (const other of switches) other.setAttribute("aria-pressed", String(other === button));
      status.textContent = words[button.dataset.units];
    });
  }
  return switches;
};

const FramedMap = (credit, options) => {
  const map = L.map("map", { zoomControl: true, attributionControl: true, maxZoom: 19, zoomSnap: 0.25, ...options });
  map.attributionControl.setPrefix(false);
  const attribution = document.createElement("span");
  attribution.textContent = credit;
  map.attributionControl.addAttribution(attribution.innerHTML);
  for (const [unit, name] of [["metric", "m"], ["imperial", "ft"]]) {
    const scale = L.control.scale({ metric: unit === "metric", imperial: unit === "imperial" }).addTo(map);
    scale.getContainer().classList.add(name);
    scale.getContainer().setAttribute("aria-hidden", "true");
  }
  return map;
};
