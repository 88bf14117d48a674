// What lies under a place on the map: the topmost landing, trip or lake.
function spreadnetHit(map, data, tables, state, drawn) {
  "use strict";
  const trips = data.trips, { symbolSize, landingRadius, tripChosen } = drawn;
  const {
    corners, ringStart, ringCounts, lakeRing, landingAt, lakeCount, landingCount, tripCount,
    lakeNowhere, landingNowhere, lakeBox, tripLine,
  } = tables;

  function inside(i, x, y) {
    let within = false;
    for (let k = lakeRing[i]; k < lakeRing[i + 1]; k++) {
      const start = ringStart[k], end = ringStart[k + 1];
      for (let p = start, q = end - 1; p < end; q = p++) {
        const py = corners[2 * p + 1], qy = corners[2 * q + 1], px = corners[2 * p], qx = corners[2 * q];
        if (py > y !== qy > y && x < ((qx - px) * (y - py)) / (qy - py) + px) within = !within;
      }
    }
    return within;
  }

  function hit(place, lines) {
    const scale = 256 * Math.pow(2, map.getZoom()), origin = map.getPixelOrigin();
    const layer = map.latLngToLayerPoint(place), x = (layer.x + origin.x) / scale, y = (layer.y + origin.y) / scale;
    const view = { size: symbolSize() };
    if (state.layers.landings) {
      let best = -1, near = 1;
      for (let i = 0; i < landingCount; i++) {
        const far = Math.hypot(landingAt[2 * i] - x, landingAt[2 * i + 1] - y) * scale / (Math.max(landingRadius(i, view), 8) + 3);
        if (!landingNowhere.has(i) && far < near) { near = far; best = i; }
      }
      if (best >= 0) return { view: "landings", row: best };
    }
    if (state.layers.trips && lines) {
      for (let t = 0; t < tripCount; t++) {
        const line = tripLine[t];
        if (t >= trips.shown && !tripChosen(t)) continue;
        for (let k = 0; k + 3 < line.length; k += 2) {
          const dx = line[k + 2] - line[k], dy = line[k + 3] - line[k + 1];
          const u = Math.min(1, Math.max(0, ((x - line[k]) * dx + (y - line[k + 1]) * dy) / (dx * dx + dy * dy || 1)));
          if (Math.hypot(line[k] + u * dx - x, line[k + 1] + u * dy - y) * scale < 4) return { view: "trips", row: t };
        }
      }
    }
    if (state.layers.lakes) {
      for (let i = 0; i < lakeCount; i++) {
        const m = 4 / scale, at = 4 * i;
        if (x < lakeBox[at] - m || x > lakeBox[at + 2] + m || y < lakeBox[at + 1] - m || y > lakeBox[at + 3] + m) continue;
        const small = ringCounts[i] === 0 || (lakeBox[at + 2] - lakeBox[at]) * scale < 12;
        if (!lakeNowhere.has(i) && (small || inside(i, x, y))) return { view: "lakes", row: i };
      }
    }
    return null;
  }
  return hit;
}
