// Marks on the map. Their drawings are copies of those in the lists, so that both always look the same.
"use strict";

const Marks = (() => {
  const ABOVE = { "too-low": 4000, unverified: 3000, tight: 2000, clear: 0 };
  // How far in pixels a mark may move out of the way of graver ones, and the directions it tries.
  const RINGS = [24, 34, 44, 56, 70];
  const TURNS = [0, 6, 1, 5, 11, 7, 2, 4, 10, 8, 3, 9].map((n) => (n * Math.PI) / 6);

  function drawing(selector, within) {
    return within.querySelector(selector).cloneNode(true);
  }

  function button(map, at, options) {
    const holder = document.createElement("div");
    holder.append(...options.content);
    const marker = L.marker(at, {
      icon: L.divIcon({
        className: `map-mark ${options.kind}`,
        html: holder,
        iconSize: [40, 40],
        iconAnchor: options.anchor || [20, 20],
      }),
      zIndexOffset: options.above || 0,
      riseOnHover: true,
      keyboard: true,
    }).addTo(map);
    const element = marker.getElement();
    placed.push({ marker, element, at, anchor: options.anchor || [20, 20], above: options.above || 0 });
    if (options.label) element.setAttribute("aria-label", options.label);
    if (options.id) element.dataset.mark = options.id;
    element.addEventListener("click", options.press);
    element.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      options.press();
    });
    return marker;
  }

  function badge(entry) {
    const text = document.createElement("span");
    text.className = "badge";
    text.append(entry.querySelector(".standing").textContent.toLowerCase());
    if (!entry.querySelector(".height .ft")) return text;
    text.append(" ");
    for (const part of entry.querySelector(".height").childNodes) text.append(part.cloneNode(true));
    return text;
  }

  function named(data, key, text, what) {
    return ((data.words && data.words[key]) || text).replace("{what}", what);
  }

  function spoken(text) {
    const part = document.createElement("span");
    part.className = "hidden";
    part.textContent = text;
    return part;
  }

  // --- spreading: every number stays readable, whatever lies on top of each other ---

  const placed = [];

  // What a mark covers, as [left, top, right, bottom] from the place it means: itself, and its badge.
  function covers({ element, anchor }) {
    const x = 20 - anchor[0];
    const y = 20 - anchor[1];
    const half = element.querySelector("svg.mark").getBoundingClientRect().width / 2;
    const boxes = [[x - half, y - half, x + half, y + half]];
    const text = element.querySelector(".badge");
    if (text && text.offsetWidth > 1) {
      const wide = text.offsetWidth / 2;
      boxes.push([x - wide, y + 20, x + wide, y + 21 + text.offsetHeight]);
    }
    return boxes;
  }

  const shifted = (boxes, x, y) => boxes.map(([a, b, c, d]) => [a + x, b + y, c + x, d + y]);
  const meet = (a, b) => a[0] < b[2] - 2 && b[0] < a[2] - 2 && a[1] < b[3] - 2 && b[1] < a[3] - 2;

  function moved(mark, dx, dy) {
    const { element, anchor } = mark;
    // Below its like, so that the line does not cross a mark that stands in its place.
    mark.marker.setZIndexOffset(dx || dy ? mark.above - 400 : mark.above);
    element.style.marginLeft = `${dx - anchor[0]}px`;
    element.style.marginTop = `${dy - anchor[1]}px`;
    element.querySelector(".leader")?.remove();
    if (!dx && !dy) return;
    const line = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    line.setAttribute("class", "leader");
    line.setAttribute("aria-hidden", "true");
    line.innerHTML = `<path d="M20 20 ${anchor[0] - dx} ${anchor[1] - dy}"/><circle cx="${anchor[0] - dx}" cy="${anchor[1] - dy}" r="3"/>`;
    element.prepend(line);
  }

  // Puts each mark where it covers none that matters more; where there is no room, a badge goes first, then
  // a mark of lesser weight shrinks to a dot. The one of `chosen` keeps its place.
  function spread(map, chosen) {
    const taken = [];
    const weight = (mark) => (mark.element.dataset.mark === chosen ? 1e6 : mark.above);
    for (const { element } of placed) element.classList.remove("is-dot", "is-bare");
    for (const mark of [...placed].sort((a, b) => weight(b) - weight(a))) {
      const at = map.latLngToLayerPoint(mark.at).round();
      const spots = [[0, 0]];
      // What matters less does not go far: a map of lines to and fro would tell nothing.
      for (const ring of mark.above < 500 ? RINGS.slice(0, 2) : RINGS) {
        for (const turn of TURNS) spots.push([Math.round(ring * Math.cos(turn)), Math.round(ring * Math.sin(turn))]);
      }
      const all = covers(mark);
      const free = (boxes) => ([dx, dy]) =>
        !shifted(boxes, at.x + dx, at.y + dy).some((box) => taken.some((other) => meet(box, other)));
      let boxes = all;
      let spot = spots.find(free(boxes));
      if (!spot && all.length > 1) {
        boxes = all.slice(0, 1);
        spot = spots.find(free(boxes));
        if (spot) mark.element.classList.add("is-bare");
      }
      if (!spot && mark.above < 500) {
        mark.element.classList.add("is-dot");
        boxes = [];
      }
      const [dx, dy] = spot || [0, 0];
      moved(mark, dx, dy);
      taken.push(...shifted(boxes, at.x + dx, at.y + dy));
    }
  }

  // One mark for each finding, stop, turn-off and facility; `choose(id)` is called when one is pressed.
  function addAll(map, data, choose) {
    const marks = new Map();
    const at = new Map();
    // Of marks at one place (a structure passed twice) only the first carries a badge.
    const nth = (point) => {
      const key = point.map((n) => n.toFixed(4)).join();
      at.set(key, (at.get(key) ?? -1) + 1);
      return at.get(key);
    };
    for (const finding of data.findings) {
      const entry = document.getElementById(finding.id);
      if (finding.off) {
        button(map, finding.off, {
          kind: "is-side",
          content: [drawing("p.turn-off svg.mark", entry)],
          label: named(data, "turnOff", "Turn-off before {what}", finding.label),
          above: 1000,
          press: () => choose(finding.id),
        });
      }
      const n = nth(finding.at);
      const extra = finding.id.startsWith("car") ? " is-lesser" : n > 0 ? " is-again" : "";
      marks.set(finding.id, {
        at: finding.at,
        marker: button(map, finding.at, {
          id: finding.id,
          kind: finding.slug + extra,
          // The name of the mark holds the text that is seen on it (WCAG 2.1, 2.5.3 Label in Name).
          content: [drawing("svg.mark", entry), spoken(`${finding.number}, `), badge(entry), spoken(finding.what)],
          above: finding.id.startsWith("car") ? 300 : ABOVE[finding.slug],
          press: () => choose(finding.id),
        }),
      });
    }
    for (const stop of data.stops) {
      const entry = document.getElementById(stop.id);
      marks.set(stop.id, {
        at: stop.at,
        marker: button(map, stop.at, {
          id: stop.id,
          kind: "stop",
          content: [drawing("svg.mark", entry)],
          label: stop.label,
          anchor: [20, 39],
          above: 1500,
          press: () => choose(stop.id),
        }),
      });
      if (stop.turn) {
        button(map, stop.turn, {
          kind: "is-side",
          content: [drawing(".in-out svg.mark", entry)],
          label: named(data, "turnPlace", "Place to turn for {what}", stop.label),
          above: 900,
          press: () => choose(stop.id),
        });
      }
    }
    for (const place of data.along || []) {
      const entry = document.getElementById(place.id);
      const text = document.createElement("span");
      text.className = "badge";
      text.textContent = place.label;
      marks.set(place.id, {
        at: place.at,
        marker: button(map, place.at, {
          id: place.id,
          kind: place.tank ? "facility tank" : "facility",
          content: [drawing("svg.mark", entry), text],
          label: place.label,
          above: place.tank ? 500 : -500,
          press: () => choose(place.id),
        }),
      });
    }
    return marks;
  }

  return { addAll, spread };
})();
