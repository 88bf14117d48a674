function spreadnetPage(map, data) {
  "use strict";
  const style = data.style, lakes = data.lakes, landings = data.landings, trips = data.trips;
  const box = map.getContainer(), byId = (id) => document.getElementById(id);
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const layers = { lakes: true, landings: true, trips: true };
  const STATUS = ["Infested", "Looked for, not found", "Not surveyed"];
  const region = L.latLngBounds(data.bounds.slice(0, 2), data.bounds.slice(2));
  let species = 0, picked = null;
  const FIRST = 10, DOWN = 0.87; // ranks always numbered; how far down the map a chosen place comes

  // ---- packed numbers and positions -------------------------------------------------------
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

  // ---- what the symbols say ---------------------------------------------------------------
  const edges = data.steps.map((step) => Math.round(step * 10000));
  const hasAll = (i) => lakes.status.slice(1).every((word) => word[i] === "0");
  function lakeClass(i) {
    if (species ? lakes.status[species][i] === "0" : hasAll(i)) return 5;
    const part = lakes.new[species][i];
    return part === null ? 6 : edges.filter((edge) => part >= edge).length;
  }
  const lakeStatus = (i) => +lakes.status[species][i];
  const kind = (i) => (landings.staffed[i] === "0" ? "off" : landings.visited[i] === "0" ? "open" : "full");
  const drawOrder = Array.from({ length: landingCount }, (_, i) => landingCount - 1 - i);

  function percent(part) {
    if (part === null) return "no figure";
    const value = part / 10000;
    if (value <= 0) return "under 0.1%";
    if (value > 0.999) return "over 99.9%";
    if (value < 0.001) return "under 0.1%";
    return (100 * value).toFixed(value >= 0.095 && value <= 0.99 ? 0 : 1) + "%";
  }

  // ---- drawing ----------------------------------------------------------------------------
  function pattern(context, colour, lined) {
    const tile = document.createElement("canvas"), pen = tile.getContext("2d");
    tile.width = tile.height = 14;
    pen.strokeStyle = pen.fillStyle = colour;
    if (lined) {
      pen.lineWidth = 2.4;
      pen.beginPath();
      for (const d of [-14, 0, 14]) { pen.moveTo(d - 2, 16); pen.lineTo(d + 16, -2); }
      pen.stroke();
    } else {
      for (const [x, y] of [[3.5, 3.5], [10.5, 10.5]]) { pen.beginPath(); pen.arc(x, y, 1.7, 0, 7); pen.fill(); }
    }
    const made = context.createPattern(tile, "repeat");
    made.setTransform(new DOMMatrix().scale(0.5));
    return made;
  }

  const Drawing = L.Renderer.extend({
    _initContainer() {
      this._container = document.createElement("canvas");
      this._container.setAttribute("aria-hidden", "true");
      this._pen = this._container.getContext("2d");
      const light = style.paper, dark = style.ink;
      this._hatch = [pattern(this._pen, dark, true), pattern(this._pen, light, true)];
      this._dots = [pattern(this._pen, dark, false), pattern(this._pen, light, false)];
    },
    _destroyContainer() { this._container.remove(); delete this._container; },
    _update() {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const canvas = this._container, size = this._bounds.getSize(), dense = window.devicePixelRatio || 1;
      canvas.width = size.x * dense; canvas.height = size.y * dense;
      canvas.style.width = size.x + "px"; canvas.style.height = size.y + "px";
      L.DomUtil.setPosition(canvas, this._bounds.min);
      this._pen.setTransform(dense, 0, 0, dense, -this._bounds.min.x * dense, -this._bounds.min.y * dense);
      this.draw();
      this.fire("update");
    },
    draw() {
      const origin = map.getPixelOrigin(), b = this._bounds, pen = this._pen;
      const view = { scale: 256 * Math.pow(2, map.getZoom()), x: origin.x, y: origin.y, b };
      // Symbols shrink when the whole region is in view and there are many of them.
      view.size = Math.min(1, Math.max(0.3, Math.sqrt(160 / Math.max(landingCount, lakeCount / 3)) *
        Math.pow(1.35, Math.max(0, map.getZoom() - fitZoom))));
      pen.clearRect(b.min.x, b.min.y, b.max.x - b.min.x, b.max.y - b.min.y);
      pen.lineJoin = "round";
      drawLand(pen, view);
      if (layers.lakes) drawLakes(pen, view, this);
      if (layers.trips) drawTrips(pen, view);
      if (layers.lakes) drawNames(pen, view);
      if (layers.landings) drawLandings(pen, view);
      drawPicked(pen, view);
    },
  });

  function trace(pen, view, line, start, end, close) {
    let lastX = line[2 * start] * view.scale - view.x, lastY = line[2 * start + 1] * view.scale - view.y;
    pen.moveTo(lastX, lastY);
    for (let p = start + 1; p < end; p++) {
      const x = line[2 * p] * view.scale - view.x, y = line[2 * p + 1] * view.scale - view.y;
      if (Math.abs(x - lastX) + Math.abs(y - lastY) < 0.8 && p < end - 1) continue;
      pen.lineTo(x, y); lastX = x; lastY = y;
    }
    if (close) pen.closePath();
  }

  function drawLand(pen, view) {
    pen.beginPath(); trace(pen, view, land, 0, land.length / 2, true);
    pen.fillStyle = style.land; pen.fill();
    pen.strokeStyle = "#b9b7a8"; pen.lineWidth = 1; pen.stroke();
    const seen = map.getBounds().pad(0.1), span = seen.getEast() - seen.getWest();
    const step = [20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005].find((s) => span / s >= 4) || 0.005;
    const places = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0, min = view.b.min, max = view.b.max;
    const corner = map.containerPointToLayerPoint([0, 0]), size = map.getSize();
    pen.strokeStyle = "rgba(28,43,51,.13)"; pen.fillStyle = "#4a5a62"; pen.font = "11px sans-serif";
    pen.beginPath();
    const name = (v, names) => Math.abs(v).toFixed(places) + "° " + (v < 0 ? names[1] : names[0]);
    for (let k = Math.ceil(seen.getWest() / step); k * step < seen.getEast(); k++) {
      const x = worldX(k * step * 1e5) * view.scale - view.x, round = ((k * step + 540) % 360) - 180;
      pen.moveTo(x, min.y); pen.lineTo(x, max.y);
      if (x - corner.x > 60 && x - corner.x < size.x - 165) pen.fillText(name(round, "EW"), x + 4, corner.y + 13);
    }
    for (let k = Math.ceil(seen.getSouth() / step); k * step < seen.getNorth(); k++) {
      const y = worldY(k * step * 1e5) * view.scale - view.y;
      pen.moveTo(min.x, y); pen.lineTo(max.x, y);
      if (y - corner.y > 60 && y - corner.y < size.y - 20) {
        pen.textAlign = "right"; pen.fillText(name(k * step, "NS"), corner.x + size.x - 5, y - 4); pen.textAlign = "left";
      }
    }
    pen.lineWidth = 1; pen.stroke();
  }

  const inView = (view, box4, at) => {
    const { scale, x, y, b } = view;
    return box4[at + 2] * scale - x > b.min.x && box4[at] * scale - x < b.max.x &&
      box4[at + 3] * scale - y > b.min.y && box4[at + 1] * scale - y < b.max.y;
  };

  function drawLakes(pen, view, drawing) {
    const groups = new Map();
    for (let i = 0; i < lakeCount; i++) {
      if (lakeNowhere.has(i) || !inView(view, lakeBox, 4 * i)) continue;
      const size = Math.max(lakeBox[4 * i + 2] - lakeBox[4 * i], lakeBox[4 * i + 3] - lakeBox[4 * i + 1]) * view.scale;
      const shape = ringCounts[i] === 0 ? 3 : size < 3 ? 2 : size < 14 ? 1 : 0;
      const name = lakeClass(i) * 100 + lakeStatus(i) * 10 + shape;
      if (!groups.has(name)) groups.set(name, []);
      groups.get(name).push(i);
    }
    for (const [name, members] of groups) {
      const step = Math.floor(name / 100), status = Math.floor((name % 100) / 10), shape = name % 10;
      const light = step === 3 || step === 4 ? 1 : 0, r = 7.5 * Math.max(0.5, view.size);
      pen.beginPath();
      for (const i of members) {
        const x = lakeAt[2 * i] * view.scale - view.x, y = lakeAt[2 * i + 1] * view.scale - view.y;
        if (shape === 3) {
          pen.moveTo(x, y - r); pen.lineTo(x + r, y); pen.lineTo(x, y + r); pen.lineTo(x - r, y); pen.closePath();
        } else if (shape === 2) pen.rect(x - 1.2, y - 1.2, 2.4, 2.4);
        else for (let k = lakeRing[i]; k < lakeRing[i + 1]; k++) trace(pen, view, corners, ringStart[k], ringStart[k + 1], true);
      }
      pen.fillStyle = style.chance[step]; pen.fill("evenodd");
      pen.strokeStyle = style.ink; pen.setLineDash([]);
      if (shape === 2) { pen.lineWidth = 0.5; pen.stroke(); continue; }
      if (status === 0) { pen.fillStyle = drawing._hatch[light]; pen.fill("evenodd"); }
      if (status === 2) { pen.fillStyle = drawing._dots[light]; pen.fill("evenodd"); }
      pen.lineWidth = (status === 0 ? 2.2 : 1.1) * (shape === 1 ? 0.7 : 1);
      if (status === 2 && shape !== 1) pen.setLineDash([4, 3]);
      pen.stroke(); pen.setLineDash([]);
    }
  }

  function tripChosen(t) {
    if (!picked) return false;
    if (picked.view === "trips") return picked.row === t;
    const lake = picked.view === "lakes" ? picked.row : landings.of[picked.row];
    return trips.from[t] === lake || trips.to[t] === lake;
  }

  function drawTrips(pen, view) {
    pen.strokeStyle = pen.fillStyle = style.trip;
    for (let t = tripCount - 1; t >= 0; t--) {
      const line = tripLine[t], count = line.length / 2;
      const chosen = tripChosen(t);
      if (count < 2 || (t >= trips.shown && !chosen)) continue;
      const width = style.widths[tripClass[t]];
      pen.globalAlpha = chosen ? 0.85 : picked ? 0.16 : 0.42; pen.lineWidth = width;
      pen.beginPath(); trace(pen, view, line, 0, count, false); pen.stroke();
      const k = Math.floor(count * 0.6), x = line[2 * k] * view.scale - view.x, y = line[2 * k + 1] * view.scale - view.y;
      const turn = Math.atan2(line[2 * k + 1] - line[2 * k - 1], line[2 * k] - line[2 * k - 2]), h = 3.5 + width;
      pen.globalAlpha = chosen ? 1 : picked ? 0.25 : 0.75;
      pen.beginPath();
      pen.moveTo(x + h * Math.cos(turn), y + h * Math.sin(turn));
      for (const side of [2.5, -2.5]) pen.lineTo(x + h * Math.cos(turn + side), y + h * Math.sin(turn + side));
      pen.closePath(); pen.fill();
    }
    pen.globalAlpha = 1;
  }

  function halo(pen, text, x, y) {
    pen.strokeStyle = "rgba(255,255,255,.9)"; pen.lineWidth = 3; pen.strokeText(text, x, y);
    pen.fillStyle = style.ink; pen.fillText(text, x, y);
  }

  function drawNames(pen, view) {
    pen.font = "italic 12px Georgia, 'Liberation Serif', serif"; pen.textAlign = "center"; pen.textBaseline = "middle";
    const used = [];
    for (let i = 0; i < lakeCount && used.length < 150; i++) {
      const width = (lakeBox[4 * i + 2] - lakeBox[4 * i]) * view.scale;
      if (width < 46 || lakeNowhere.has(i) || !inView(view, lakeBox, 4 * i)) continue;
      const half = pen.measureText(lakes.name[i]).width / 2, x = lakeAt[2 * i] * view.scale - view.x;
      const y = lakeAt[2 * i + 1] * view.scale - view.y;
      if (half * 2 > width * 1.25 || used.some((u) => Math.abs(u[0] - x) < u[2] + half && Math.abs(u[1] - y) < 14)) continue;
      used.push([x, y, half]);
      halo(pen, lakes.name[i], x, y);
    }
    pen.textAlign = "left"; pen.textBaseline = "alphabetic";
  }

  function landingRadius(i, view) {
    const rank = +landings.rank[i].replace(/,/g, "");
    return rank && rank <= FIRST ? Math.max(8.5, landings.radius[i]) : Math.max(1.7, landings.radius[i] * view.size);
  }

  function drawLandings(pen, view) {
    pen.textAlign = "center"; pen.textBaseline = "middle";
    for (const i of drawOrder) {
      if (landingNowhere.has(i)) continue;
      const x = landingAt[2 * i] * view.scale - view.x, y = landingAt[2 * i + 1] * view.scale - view.y;
      const r = landingRadius(i, view), what = kind(i);
      if (x < view.b.min.x - r || x > view.b.max.x + r || y < view.b.min.y - r || y > view.b.max.y + r) continue;
      const ring = what === "off" ? style.off : style.landing, width = Math.min(2.5, 0.45 * r);
      pen.beginPath(); pen.arc(x, y, r + (what === "full" ? 0 : 1), 0, 7);
      pen.fillStyle = what === "full" ? style.landing : style.paper; pen.fill();
      if (r < 3) {  // a dot, or a ring when it is not full
        if (what !== "full") { pen.strokeStyle = ring; pen.lineWidth = 0.9; pen.stroke(); }
        continue;
      }
      pen.strokeStyle = style.paper; pen.lineWidth = what === "full" ? 1.5 : 3; pen.stroke();
      if (what !== "full") {
        pen.beginPath(); pen.arc(x, y, r - width / 2, 0, 7); pen.strokeStyle = ring; pen.lineWidth = width; pen.stroke();
      }
      if (what === "off") {
        pen.beginPath(); pen.moveTo(x - 0.6 * r, y + 0.6 * r); pen.lineTo(x + 0.6 * r, y - 0.6 * r);
        pen.lineWidth = Math.min(2, width); pen.stroke();
      }
      if (r >= 8 && landings.rank[i]) {
        pen.font = `700 ${landings.rank[i].length > 2 ? 9 : 11}px sans-serif`;
        if (what === "full") { pen.fillStyle = style.paper; pen.fillText(landings.rank[i], x, y + 0.5); }
        else halo(pen, landings.rank[i], x, y + 0.5);
      }
    }
    pen.textAlign = "left"; pen.textBaseline = "alphabetic";
  }

  function drawPicked(pen, view) {
    if (!picked || picked.view === "trips") return;
    const at = picked.view === "lakes" ? lakeAt : landingAt;
    const x = at[2 * picked.row] * view.scale - view.x, y = at[2 * picked.row + 1] * view.scale - view.y;
    const i = picked.row, outlined = picked.view === "lakes" && ringCounts[i];
    const r = picked.view === "lakes" ? 10 : landingRadius(i, view) + 4;
    for (const [colour, width] of [[style.ink, 6], ["#ffd257", 3]]) {
      pen.beginPath();
      if (outlined) for (let k = lakeRing[i]; k < lakeRing[i + 1]; k++) trace(pen, view, corners, ringStart[k], ringStart[k + 1], true);
      else pen.arc(x, y, r, 0, 7);
      pen.strokeStyle = colour; pen.lineWidth = width; pen.stroke();
    }
  }

  // ---- the map ----------------------------------------------------------------------------
  let fitZoom = 0;
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", "Map of the region. The list gives the same facts.");
  function whole(animate) { map.fitBounds(region, { animate, padding: [4, 4] }); }
  whole(false);
  fitZoom = map.getZoom();
  map.setMaxBounds(region.pad(0.6));
  map.setMinZoom(Math.max(0, fitZoom - 1.5));
  L.control.scale({ position: "bottomleft", maxWidth: 140 }).addTo(map);
  const drawing = new Drawing({ padding: 0.15 });
  drawing.addTo(map);
  const popup = L.popup({ autoPanPadding: [12, 12], closeButton: true, keepInView: false });
  const tip = L.tooltip({ direction: "top", offset: [0, -8] });

  function stamp() {
    const middle = map.getCenter();
    box.dataset.centre = `${middle.lat.toFixed(5)},${middle.lng.toFixed(5)}`;
  }
  map.on("moveend", stamp); stamp();
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(box);

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
    const view = { size: Math.min(1, Math.max(0.3, Math.sqrt(160 / Math.max(landingCount, lakeCount / 3)))) };
    if (layers.landings) {
      let best = -1, near = 1;
      for (let i = 0; i < landingCount; i++) {
        const far = Math.hypot(landingAt[2 * i] - x, landingAt[2 * i + 1] - y) * scale / (Math.max(landingRadius(i, view), 8) + 3);
        if (!landingNowhere.has(i) && far < near) { near = far; best = i; }
      }
      if (best >= 0) return { view: "landings", row: best };
    }
    if (layers.trips && lines) {
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
    if (layers.lakes) {
      for (let i = 0; i < lakeCount; i++) {
        const m = 4 / scale, at = 4 * i;
        if (x < lakeBox[at] - m || x > lakeBox[at + 2] + m || y < lakeBox[at + 1] - m || y > lakeBox[at + 3] + m) continue;
        const small = ringCounts[i] === 0 || (lakeBox[at + 2] - lakeBox[at]) * scale < 12;
        if (!lakeNowhere.has(i) && (small || inside(i, x, y))) return { view: "lakes", row: i };
      }
    }
    return null;
  }
  map.on("click", (event) => {
    const found = hit(event.latlng, true);
    if (found) open(found, event.latlng, null);
  });
  let waiting = false;
  map.on("mousemove", (event) => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      const found = hit(event.latlng, false);
      box.style.cursor = found ? "pointer" : "";
      if (!found) { tip.remove(); return; }
      const word = document.createElement("span");
      word.textContent = found.view === "lakes" ? lakes.name[found.row]
        : (landings.rank[found.row] ? landings.rank[found.row] + ". " : "") + landings.name[found.row];
      tip.setContent(word).setLatLng(event.latlng).addTo(map);
    });
  });
  map.on("mouseout", () => tip.remove());

  // ---- cards ------------------------------------------------------------------------------
  function make(tag, text, parent, name) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (name) element.className = name;
    if (parent) parent.append(element);
    return element;
  }
  function fact(list, name, value, more) {
    if (!value) return;
    make("dt", name, list);
    const cell = make("dd", value, list);
    if (more) make("small", more, cell);
  }
  const span = (text) => (text ? `(${text})` : "");

  const cards = {
    landings(i, card) {
      make("p", landings.lake[i], card, "sub");
      if (landings.why[i].length) {
        make("h3", "Why", card);
        const why = make("ul", "", card);
        for (const reason of landings.why[i]) make("li", reason[0].toUpperCase() + reason.slice(1), why);
      }
      const list = make("dl", "", card);
      fact(list, "Rank", landings.rank[i], span(landings.ranks[i]));
      if (landings.first_10[i]) fact(list, "Among the first ten", landings.first_10[i], "of draws");
      fact(list, "Avoided per 100 hours", landings.avoided[i], span(landings.avoided_range[i]));
      fact(list, "Boats a season", landings.boats[i], span(landings.boats_range[i]));
      fact(list, "Best time", landings.when[i]);
      if (landings.leaving[i]) fact(list, "Share avoided", landings.leaving[i], "on boats leaving, the rest on arriving");
      if (landings.visited[i] === "0") make("p", "Not visited yet: its figures borrow from other landings.", card, "flag");
      if (landings.staffed[i] === "0") make("p", "Can't be staffed.", card, "flag");
      if (landingNowhere.has(i)) make("p", "Its place is not known: shown at its lake.", card, "flag");
    },
    lakes(i, card) {
      make("p", lakes.area[i] === null ? "Lake" : `Lake of ${lakes.area[i].toLocaleString("en")} ha`, card, "sub");
      const list = make("dl", "", card), seasons = data.seasons === 1 ? "1 season" : data.seasons + " seasons";
      fact(list, "New infestation", hasAll(i) ? "every species already there" : percent(lakes.new[0][i]), hasAll(i) ? "" : `chance of at least one in ${seasons}`);
      data.species.forEach((label, s) => {
        make("h3", label, card);
        const one = make("dl", "", card);
        fact(one, "Status", STATUS[+lakes.status[s + 1][i]]);
        if (lakes.status[s + 1][i] !== "0") {
          fact(one, "Infested now", percent(lakes.now[s][i]), "chance");
          fact(one, "New infestation", percent(lakes.new[s + 1][i]), `chance in ${seasons}`);
        }
      });
      if (lakeNowhere.has(i)) make("p", "Its place is not known: it is not on the map.", card, "flag");
    },
    trips(t, card) {
      make("p", "Boats going from lake to lake", card, "sub");
      const list = make("dl", "", card);
      fact(list, "Trips a season", boats(t));
      fact(list, "Introductions", trips.arrivals[t], "living arrivals expected in a season");
      fact(list, "Distance", trips.km[t] === "no figure" ? "" : trips.km[t] + " km");
    },
  };
  const boats = (t) => trips.boats[t] >= 10 ? Math.round(trips.boats[t]).toLocaleString("en") : String(+trips.boats[t].toPrecision(2));
  const title = (view, row) => view === "trips" ? `${lakes.name[trips.from[row]]} to ${lakes.name[trips.to[row]]}`
    : (view === "lakes" ? lakes.name[row] : landings.name[row]) || "(no name)";

  function placeOf(view, row) {
    if (view === "trips") {
      const line = tripLine[row], k = 2 * Math.floor(line.length / 4);
      return line.length ? latLng(line[k], line[k + 1]) : region.getCenter();
    }
    if (view === "landings" && landingNowhere.has(row) && lakeNowhere.has(landings.of[row])) return region.getCenter();
    if (view === "lakes" && lakeNowhere.has(row)) return region.getCenter();
    const at = view === "lakes" ? lakeAt : landingAt;
    return latLng(at[2 * row], at[2 * row + 1]);
  }

  function show(view, row) {
    const target = placeOf(view, row);
    let zoom = Math.max(map.getZoom(), fitZoom + 1.5);
    if (view === "trips") {
      const line = tripLine[row];
      if (line.length) zoom = Math.min(map.getBoundsZoom(L.latLngBounds(latLng(line[0], line[1]), latLng(line[line.length - 2], line[line.length - 1])).pad(0.3)), fitZoom + 4);
    } else {
      const i = view === "lakes" ? row : landings.of[row], at = 4 * i;
      const fits = map.getBoundsZoom(L.latLngBounds(latLng(lakeBox[at], lakeBox[at + 1]), latLng(lakeBox[at + 2], lakeBox[at + 3])).pad(0.4));
      zoom = Math.min(Math.max(zoom, Math.min(fits, fitZoom + 3)), Math.max(fits, fitZoom));
    }
    // Low in the map, so that its card has room above it.
    const low = map.project(target, zoom).subtract([0, (DOWN - 0.5) * map.getSize().y]);
    map.setView(map.unproject(low, zoom), zoom, { animate: !still });
    return target;
  }

  let back = null;
  function open(what, place, from) {
    const card = make("div", "", null, "card");
    card.tabIndex = -1;
    make("h2", title(what.view, what.row), card);
    cards[what.view](what.row, card);
    const size = map.getSize();
    popup.options.maxWidth = Math.min(350, size.x - 50);
    popup.options.minWidth = Math.min(230, size.x - 50);
    popup.options.maxHeight = Math.round(DOWN * size.y) - 62;
    popup.options.autoPan = !from;
    popup.setLatLng(place).setContent(card).openOn(map);
    const frame = popup.getElement();
    frame.setAttribute("role", "dialog");
    frame.setAttribute("aria-label", title(what.view, what.row));
    picked = what; back = from;
    box.classList.toggle("narrow", size.x < 560);
    box.classList.add("reading");
    markRow(); drawing.draw();
    if (from) {
      card.focus({ preventScroll: true });
      box.scrollIntoView({ block: "nearest", behavior: still ? "auto" : "smooth" });
    }
    const rank = what.view === "landings" && landings.rank[what.row] ? `, rank ${landings.rank[what.row]}` : "";
    byId("said").textContent = `${title(what.view, what.row)}${rank}: shown on the map.`;
  }
  map.on("popupclose", (event) => {
    if (event.popup !== popup) return;
    const goes = box.contains(document.activeElement) && back && back.isConnected ? back : null;
    picked = null; back = null;
    box.classList.remove("reading");
    markRow(); drawing.draw();
    if (goes) goes.focus({ preventScroll: false });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && map.hasLayer(popup)) { map.closePopup(popup); event.preventDefault(); }
  });

  // ---- the list ---------------------------------------------------------------------------
  const plain = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  const seasonsText = data.seasons === 1 ? "1 season" : data.seasons + " seasons";
  const ranked = landings.rank.some((rank) => rank);
  const falling = (values) => Array.from(values.keys()).sort((a, b) => (values[b] ?? -1) - (values[a] ?? -1) || a - b);
  const views = {
    landings: {
      about: (ranked ? "By new infestations avoided per 100 educator hours" : "Busiest first; this run has no ranking") + ". Small figures: the range over draws.",
      heads: ["Rank", "Landing and lake", "Avoided per 100 h", "Boats a season", "Best time"],
      order: () => Array.from(landings.name.keys()),
      text: (i) => landings.name[i] + " " + landings.lake[i],
      cells: (i) => [[landings.rank[i] || "–", landings.ranks[i]], null, [landings.avoided[i] || "–", landings.avoided_range[i]], [landings.boats[i] || "–", landings.boats_range[i]], [landings.when[i], ""]],
      under: (i) => [landings.lake[i], landings.visited[i] === "0" ? "○ not visited yet" : "", landings.staffed[i] === "0" ? "⊘ can't be staffed" : ""],
    },
    lakes: {
      about: "By chance of a new infestation in " + seasonsText + ".",
      heads: ["Lake", "New infestation", "Status"],
      order: () => falling(lakes.new[species]),
      text: (i) => lakes.name[i],
      cells: (i) => [null, [lakeClass(i) === 5 ? "already there" : percent(lakes.new[species][i]), ""], [STATUS[lakeStatus(i)], ""]],
      under: (i) => [lakes.area[i] === null ? "" : lakes.area[i].toLocaleString("en") + " ha"],
    },
    trips: {
      about: "The largest flows of boats between two lakes.",
      heads: ["From and to", "Trips a season", "Introductions", "Distance"],
      order: () => Array.from(trips.from.keys()),
      text: (t) => title("trips", t),
      cells: (t) => [null, [boats(t), ""], [trips.arrivals[t], ""], [trips.km[t] + " km", ""]],
      under: () => [],
    },
  };
  let current = "landings", limit = 200, haystack = {};
  const table = byId("heads").parentElement, rowButtons = () => Array.from(table.querySelectorAll("td button"));

  function rowOf(view, row) {
    const line = document.createElement("tr"), spec = views[view];
    line.setAttribute("role", "row");
    spec.cells(row).forEach((cell, c) => {
      const td = make("td", "", line);
      td.setAttribute("role", "cell");
      td.dataset.head = spec.heads[c];
      if (cell === null) {
        td.className = "name";
        const button = make("button", title(view, row), td);
        button.type = "button"; button.tabIndex = -1; button.dataset.row = row;
        spec.under(row).forEach((text, k) => text && make("small", text, td, k ? "mark" : ""));
        return;
      }
      td.className = c === 0 ? "rank number" : spec.heads[c] === "Best time" ? "wide" : "number";
      td.textContent = cell[0];
      if (cell[1]) make("small", cell[1], td);
    });
    return line;
  }

  function fill() {
    const spec = views[current], query = plain(byId("filter").value.trim());
    haystack[current] ??= Array.from({ length: { landings: landingCount, lakes: lakeCount, trips: tripCount }[current] }, (_, i) => plain(spec.text(i)));
    const found = spec.order().filter((i) => haystack[current][i].includes(query)), seen = found.slice(0, limit);
    byId("about").textContent = spec.about;
    const heads = document.createElement("tr");
    heads.setAttribute("role", "row");
    for (const head of spec.heads) { const th = make("th", head, heads); th.scope = "col"; th.setAttribute("role", "columnheader"); }
    byId("heads").replaceChildren(heads);
    table.querySelectorAll("tbody").forEach((body) => body.remove());
    table.className = current === "landings" ? "" : "plain";
    const groups = current === "landings" && !query ? landings.group : null;
    let body = null, last = null;
    seen.forEach((i) => {
      const group = groups ? groups[i] : 0;
      if (!body || group !== last) {
        body = make("tbody", "", table);
        body.setAttribute("role", "rowgroup");
        if (groups && group >= 0) groupHead(body, group, spec.heads.length, last !== null);
        last = group;
      }
      body.append(rowOf(current, i));
    });
    const all = haystack[current].length, counted = found.length.toLocaleString("en");
    byId("count").textContent = !found.length ? `none of ${all.toLocaleString("en")}`
      : seen.length < found.length ? `first ${seen.length} of ${counted}` : query ? `${counted} of ${all.toLocaleString("en")}` : `${counted} ${current}`;
    byId("more").hidden = seen.length === found.length;
    const first = rowButtons()[0];
    if (first) first.tabIndex = 0;
    markRow();
  }

  function groupHead(body, group, width, notFirst) {
    const members = landings.group.reduce((all, g, i) => (g === group ? all.concat(i) : all), []);
    if (members.length < 2) { if (notFirst) body.className = "apart"; return; }
    const line = make("tr", "", body), head = make("th", `About equal: ranks ${landings.rank[members[0]]} to ${landings.rank[members[members.length - 1]]}`, line, "group");
    line.setAttribute("role", "row");
    head.colSpan = width; head.scope = "rowgroup"; head.setAttribute("role", "rowheader");
  }

  function markRow() {
    for (const button of rowButtons()) {
      const on = picked && picked.view === current && +button.dataset.row === picked.row;
      button.closest("tr").classList.toggle("picked", Boolean(on));
    }
  }
  function stopAt(button) {
    for (const other of rowButtons()) other.tabIndex = other === button ? 0 : -1;
  }
  table.setAttribute("role", "table");
  table.addEventListener("click", (event) => {
    const button = event.target.closest("td button");
    if (!button) return;
    stopAt(button);
    const what = { view: current, row: +button.dataset.row };
    open(what, show(what.view, what.row), button);
  });
  table.addEventListener("keydown", (event) => {
    const buttons = rowButtons(), at = buttons.indexOf(document.activeElement);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: buttons.length - 1 }[event.key];
    if (at < 0 || to === undefined || !buttons[to]) return;
    event.preventDefault();
    stopAt(buttons[to]); buttons[to].focus();
  });
  byId("filter").addEventListener("input", () => { limit = 200; fill(); });
  byId("more").addEventListener("click", () => {
    const next = limit;
    limit += 200; fill();
    const button = rowButtons()[next];
    if (button) { stopAt(button); button.focus(); }
  });
  const press = (buttons, chosen) => buttons.forEach((b) => b.setAttribute("aria-pressed", String(b === chosen)));
  const viewButtons = Array.from(document.querySelectorAll("[data-view]"));
  for (const button of viewButtons) button.addEventListener("click", () => {
    current = button.dataset.view; limit = 200; press(viewButtons, button); fill();
  });

  // ---- layers, species, whole region ------------------------------------------------------
  for (const input of document.querySelectorAll("[data-layer]")) input.addEventListener("change", () => {
    layers[input.dataset.layer] = input.checked; drawing.draw();
    box.dataset.hidden = Object.keys(layers).filter((name) => !layers[name]).join(" ");
  });
  const speciesButtons = Array.from(document.querySelectorAll("[data-species]"));
  const words = Array.from(document.querySelectorAll(".screen [data-one]"), (element) => [element, element.textContent]);
  for (const button of speciesButtons) button.addEventListener("click", () => {
    species = +button.dataset.species; press(speciesButtons, button); drawing.draw(); fill();
    for (const [element, every] of words) element.textContent = species ? element.dataset.one : every;
  });
  byId("whole").addEventListener("click", () => { map.closePopup(popup); whole(!still); });
  if (matchMedia("(max-width: 959px)").matches) byId("key").open = false;
  fill();
  performance.mark("drawn");
  document.documentElement.dataset.ready = "yes";
}
