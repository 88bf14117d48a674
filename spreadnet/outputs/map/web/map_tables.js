// The tables of the page unpacked: places as numbers between 0 and 1, and what each symbol says.
function spreadnetTables(data, state) {
  "use strict";
  const lakes = data.lakes, landings = data.landings, trips = data.trips;

  const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  const VALUE = new Uint8Array(128);
  for (let i = 0; i < 64; i++) VALUE[LETTERS.charCodeAt(i)] = i;

  function unpack(text) {
    const out = [];
    let bits = 0, shift = 1;
    for (let i = 0; i < text.length; i++) {
      const code = VALUE[text.charCodeAt(i)];
      bits += (code & 31) * shift;
      if (code & 32) { shift *= 32; continue; }
      out.push(bits % 2 ? -(bits + 1) / 2 : bits / 2);
      bits = 0; shift = 1;
    }
    return out;
  }
  // Whole 1e-5 degrees to the unit square that the map's projection draws on.
  const worldX = (x) => (x / 1e5 + 180) / 360;
  const worldY = (y) => 0.5 - Math.asinh(Math.tan((y / 1e5) * (Math.PI / 180))) / (2 * Math.PI);

  function toWorld(whole, steps) {
    const out = new Float64Array(whole.length);
    let x = 0, y = 0;
    for (let i = 0; i < whole.length; i += 2) {
      x = steps ? x + whole[i] : whole[i];
      y = steps ? y + whole[i + 1] : whole[i + 1];
      out[i] = worldX(x); out[i + 1] = worldY(y);
    }
    return out;
  }
  const points = (text) => toWorld(unpack(text), true);
  const latLng = (x, y) => L.latLng(
    (Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180) / Math.PI, x * 360 - 180);

  const land = points(data.land);
  const corners = points(lakes.shape.corners), ringSizes = unpack(lakes.shape.rings);
  const ringCounts = unpack(lakes.shape.lakes), lakeAt = points(lakes.at), landingAt = points(landings.at);
  const lakeCount = lakes.name.length, landingCount = landings.name.length, tripCount = trips.from.length;
  const ringStart = [0];
  for (const size of ringSizes) ringStart.push(ringStart[ringStart.length - 1] + size);
  const lakeRing = [0];
  for (const count of ringCounts) lakeRing.push(lakeRing[lakeRing.length - 1] + count);
  const lakeNowhere = new Set(lakes.nowhere), landingNowhere = new Set(landings.nowhere);
  const lakeBox = new Float64Array(lakeCount * 4);
  for (let i = 0; i < lakeCount; i++) {
    let w = lakeAt[2 * i], n = lakeAt[2 * i + 1], e = w, s = n;
    for (let p = ringStart[lakeRing[i]]; p < ringStart[lakeRing[i + 1]]; p++) {
      const x = corners[2 * p], y = corners[2 * p + 1];
      if (x < w) w = x; if (x > e) e = x; if (y < n) n = y; if (y > s) s = y;
    }
    lakeBox.set([w, n, e, s], 4 * i);
  }
  for (const i of landingNowhere) {  // stands at its lake
    landingAt[2 * i] = lakeAt[2 * landings.of[i]]; landingAt[2 * i + 1] = lakeAt[2 * landings.of[i] + 1];
  }
  const tripClass = trips.boats.map((v) => data.trip_steps.filter((step) => v >= step).length);
  const tripLine = trips.path.map((path, t) => {
    if (path.length > 4) return toWorld(path, false);
    const a = trips.from[t], b = trips.to[t];
    if (lakeNowhere.has(a) || lakeNowhere.has(b)) return new Float64Array(0);
    const ends = path.length ? toWorld(path, false)
      : [lakeAt[2 * a], lakeAt[2 * a + 1], lakeAt[2 * b], lakeAt[2 * b + 1]];
    // Bent to the left of the direction of travel, so that both directions of a pair are seen.
    const [ax, ay, bx, by] = ends, mx = (ax + bx) / 2 + 0.14 * (by - ay), my = (ay + by) / 2 - 0.14 * (bx - ax);
    const line = new Float64Array(42);
    for (let k = 0; k <= 20; k++) {
      const u = k / 20, v = 1 - u;
      line[2 * k] = v * v * ax + 2 * u * v * mx + u * u * bx;
      line[2 * k + 1] = v * v * ay + 2 * u * v * my + u * u * by;
    }
    return line;
  });

  const edges = data.steps.map((step) => Math.round(step * 10000));
  const hasAll = (i) => lakes.status.slice(1).every((word) => word[i] === "0");
  function lakeClass(i) {
    if (state.species ? lakes.status[state.species][i] === "0" : hasAll(i)) return 5;
    const part = lakes.new[state.species][i];
    return part === null ? 6 : edges.filter((edge) => part >= edge).length;
  }
  const lakeStatus = (i) => +lakes.status[state.species][i];
  const kind = (i) => (landings.staffed[i] === "0" ? "off" : landings.visited[i] === "0" ? "open" : "full");

  // The key's words: of one species, or (species 0) over all of them.
  const ONE = ["Infested", "Looked for, not found", "Not surveyed", "Already there"];
  const statusWord = (i, species) => (species ? ONE : data.words)[+lakes.status[species][i]];
  const thereWord = (species) => (species ? ONE : data.words)[3].toLowerCase();

  function percent(part) {
    if (part === null) return "no figure";
    const value = part / 10000;
    if (value <= 0) return "under 0.1%";
    if (value > 0.999) return "over 99.9%";
    if (value < 0.001) return "under 0.1%";
    return (100 * value).toFixed(value >= 0.095 && value <= 0.99 ? 0 : 1) + "%";
  }

  return {
    latLng, worldX, worldY, land, corners, ringStart, ringCounts, lakeRing, lakeAt, landingAt,
    lakeCount, landingCount, tripCount, lakeNowhere, landingNowhere, lakeBox, tripClass, tripLine,
    hasAll, lakeClass, lakeStatus, kind, percent, statusWord, thereWord,
  };
}
