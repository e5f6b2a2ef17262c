// The roads of whatever the map shows, asked of the server as it moves.
"use strict";

const AreaMap = (map, data) => {
  // Between these steps of zoom the same classes of roads are drawn.
  const STEPS = [10, 12, 14];
  const level = (zoom) => STEPS.filter((step) => zoom >= step).length;
  let drawn = null;
  let asked = null;
  let timer = 0;

  const within = (value, low, high) => Math.min(Math.max(value, low), high).toFixed(5);

  async function load() {
    const zoom = map.getZoom();
    const view = map.getBounds();
    if (drawn && drawn.level === level(zoom) && drawn.box.contains(view)) return;
    const box = view.pad(0.4);
    if (asked) asked.abort();
    asked = new AbortController();
    const sides = [
      within(box.getWest(), -180, 179.9),
      within(box.getSouth(), -85, 84.9),
      within(box.getEast(), -179.9, 180),
      within(box.getNorth(), -84.9, 85),
    ];
    try {
      const answer = await fetch(`/map?box=${sides.join(",")}&zoom=${zoom}`, { signal: asked.signal });
      if (!answer.ok) return;
      const found = await answer.json();
      const redraw = BaseMap(map, { ...data, ...found });
      if (drawn) drawn.redraw.remove();
      drawn = { redraw, box, level: level(zoom) };
      map.getContainer().dataset.roads = "shown";
    } catch (error) {
      if (error.name !== "AbortError") throw error;
    }
  }

  map.on("moveend", () => {
    clearTimeout(timer);
    timer = setTimeout(load, 120);
  });
  load();
  return () => {
    if (drawn) drawn.redraw();
  };
};
