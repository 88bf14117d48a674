// Lakes, trips and landings drawn on one canvas of the map.
function spreadnetDrawing(map, data, tables, state) {
  "use strict";
  const style = data.style, lakes = data.lakes, landings = data.landings, trips = data.trips;
  const {
    worldX, worldY, land, corners, ringStart, ringCounts, lakeRing, lakeAt, landingAt, lakeCount,
    landingCount, tripCount, lakeNowhere, landingNowhere, lakeBox, tripClass, tripLine, lakeClass,
    lakeStatus, kind,
  } = tables;
  const FIRST = 10; // ranks that are always numbered
  const WHOLE = 0.35; // size of the other landings, to full size, while the whole region is in view
  const SMALLEST = landings.radius.length > 400 ? 1.7 : 2.5;
  const drawOrder = Array.from({ length: landingCount }, (_, i) => landingCount - 1 - i);

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
      view.size = symbolSize();
      pen.clearRect(b.min.x, b.min.y, b.max.x - b.min.x, b.max.y - b.min.y);
      pen.lineJoin = "round";
      drawLand(pen, view);
      if (state.layers.lakes) drawLakes(pen, view, this);
      if (state.layers.trips) drawTrips(pen, view);
      if (state.layers.lakes) drawNames(pen, view);
      if (state.layers.landings) drawLandings(pen, view);
      drawPicked(pen, view);
    },
  });

  // Symbols shrink while the whole region is in view, or they would hide the lakes; more so when
  // there are many of them for the room.
  function symbolSize() {
    const room = Math.sqrt(160 / Math.max(landingCount, lakeCount / 3, 1)) * Math.min(1, map.getSize().x / 620);
    return Math.min(1, WHOLE * Math.min(1, Math.max(0.3, room)) * Math.pow(1.5, Math.max(0, map.getZoom() - state.fitZoom)));
  }

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
    pen.fillStyle = pen.strokeStyle = style.land; pen.fill();
    pen.globalAlpha = 0.4;  // a soft edge: a line would look like a coast
    for (const width of [14, 28]) { pen.lineWidth = width; pen.stroke(); }
    pen.globalAlpha = 1;
    const seen = map.getBounds().pad(0.1), span = seen.getEast() - seen.getWest();
    const step = [20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005].find((s) => span / s >= 4) || 0.005;
    const places = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0, min = view.b.min, max = view.b.max;
    const corner = map.containerPointToLayerPoint([0, 0]), size = map.getSize();
    pen.strokeStyle = style.graticule; pen.fillStyle = style.soft; pen.font = "11px sans-serif";
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
      const light = step === 3 || step === 4 ? 1 : 0, r = 7.5 * Math.max(0.5, Math.min(1, 2 * view.size));
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
    if (!state.picked) return false;
    if (state.picked.view === "trips") return state.picked.row === t;
    const lake = state.picked.view === "lakes" ? state.picked.row : landings.of[state.picked.row];
    return trips.from[t] === lake || trips.to[t] === lake;
  }

  function drawTrips(pen, view) {
    pen.strokeStyle = pen.fillStyle = style.trip;
    for (let t = tripCount - 1; t >= 0; t--) {
      const line = tripLine[t], count = line.length / 2;
      const chosen = tripChosen(t);
      if (count < 2 || (t >= trips.shown && !chosen)) continue;
      const width = style.widths[tripClass[t]];
      pen.globalAlpha = chosen ? 0.85 : state.picked ? 0.16 : 0.42; pen.lineWidth = width;
      pen.beginPath(); trace(pen, view, line, 0, count, false); pen.stroke();
      const k = Math.floor(count * 0.6), x = line[2 * k] * view.scale - view.x, y = line[2 * k + 1] * view.scale - view.y;
      const turn = Math.atan2(line[2 * k + 1] - line[2 * k - 1], line[2 * k] - line[2 * k - 2]), h = 3.5 + width;
      pen.globalAlpha = chosen ? 1 : state.picked ? 0.25 : 0.75;
      pen.beginPath();
      pen.moveTo(x + h * Math.cos(turn), y + h * Math.sin(turn));
      for (const side of [2.5, -2.5]) pen.lineTo(x + h * Math.cos(turn + side), y + h * Math.sin(turn + side));
      pen.closePath(); pen.fill();
    }
    pen.globalAlpha = 1;
  }

  function halo(pen, text, x, y) {
    pen.strokeStyle = style.halo; pen.lineWidth = 3; pen.strokeText(text, x, y);
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
    return rank && rank <= FIRST ? Math.max(8, landings.radius[i] * view.size) : Math.max(SMALLEST, landings.radius[i] * view.size);
  }

  function drawLandings(pen, view) {
    pen.textAlign = "center"; pen.textBaseline = "middle";
    for (const i of drawOrder) {
      if (landingNowhere.has(i)) continue;
      const x = landingAt[2 * i] * view.scale - view.x, y = landingAt[2 * i + 1] * view.scale - view.y;
      const r = landingRadius(i, view), what = kind(i);
      if (x < view.b.min.x - r || x > view.b.max.x + r || y < view.b.min.y - r || y > view.b.max.y + r) continue;
      const numbered = r >= 8 && landings.rank[i];
      const ring = what === "off" ? style.off : style.landing, width = Math.min(2.5, 0.45 * r);
      pen.beginPath(); pen.arc(x, y, r + (what === "full" || r < 3 ? 0 : 1), 0, 7);
      pen.fillStyle = what === "full" ? style.landing : style.paper; pen.fill();
      if (r < 3) {  // a dot, or a ring when it is not full
        if (what !== "full") { pen.strokeStyle = ring; pen.lineWidth = 1.1; pen.stroke(); }
        continue;
      }
      pen.strokeStyle = style.paper; pen.lineWidth = what === "full" ? 1.5 : 3; pen.stroke();
      if (what !== "full") {
        pen.beginPath(); pen.arc(x, y, r - width / 2, 0, 7); pen.strokeStyle = ring; pen.lineWidth = width; pen.stroke();
      }
      if (what === "off") {
        pen.beginPath();
        for (const [from, to] of numbered ? [[-r - 5, -r], [r, r + 5]] : [[-0.85 * r, 0.85 * r]]) {  // none through a number
          pen.moveTo(x + 0.7 * from, y - 0.7 * from); pen.lineTo(x + 0.7 * to, y - 0.7 * to);
        }
        pen.lineWidth = Math.min(2, width); pen.stroke();
      }
      if (numbered) {
        pen.font = `700 ${landings.rank[i].length > 2 ? 9 : 11}px sans-serif`;
        if (what === "full") { pen.fillStyle = style.paper; pen.fillText(landings.rank[i], x, y + 0.5); }
        else halo(pen, landings.rank[i], x, y + 0.5);
      }
    }
    pen.textAlign = "left"; pen.textBaseline = "alphabetic";
  }

  function drawPicked(pen, view) {
    if (!state.picked || state.picked.view === "trips") return;
    const at = state.picked.view === "lakes" ? lakeAt : landingAt;
    const x = at[2 * state.picked.row] * view.scale - view.x, y = at[2 * state.picked.row + 1] * view.scale - view.y;
    const i = state.picked.row, outlined = state.picked.view === "lakes" && ringCounts[i];
    const r = state.picked.view === "lakes" ? 10 : landingRadius(i, view) + 4;
    for (const [colour, width] of [[style.ink, 6], [style.chosen, 3]]) {
      pen.beginPath();
      if (outlined) for (let k = lakeRing[i]; k < lakeRing[i + 1]; k++) trace(pen, view, corners, ringStart[k], ringStart[k + 1], true);
      else pen.arc(x, y, r, 0, 7);
      pen.strokeStyle = colour; pen.lineWidth = width; pen.stroke();
    }
  }

  return { layer: new Drawing({ padding: 0.15 }), symbolSize, landingRadius, tripChosen };
}
