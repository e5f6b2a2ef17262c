// Marks on the map. Their drawings are copies of those in the lists, so that both always look the same.
"use strict";

const Marks = (() => {
  const ABOVE = { "too-low": 4000, unverified: 3000, tight: 2000, clear: 0 };

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

  // One mark for each finding, stop and turn-off; `choose(id)` is called when one is pressed.
  function addAll(map, data, choose) {
    const marks = new Map();
    const at = new Map();
    // Marks at one place (a structure passed twice) stand side by side; only the first carries a badge.
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
          anchor: [20 - 42 * n, 20],
          above: ABOVE[finding.slug],
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
    return marks;
  }

  return { addAll };
})();
