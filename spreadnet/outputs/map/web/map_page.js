// The page put together: the map, its layers and switches, the cards and the list.
function spreadnetPage(map, data) {
  "use strict";
  const lakes = data.lakes, landings = data.landings, byId = (id) => document.getElementById(id);
  const box = map.getContainer(), still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const region = L.latLngBounds(data.bounds.slice(0, 2), data.bounds.slice(2));
  const press = (buttons, chosen) => buttons.forEach((b) => b.setAttribute("aria-pressed", String(b === chosen)));
  function make(tag, text, parent, name) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (name) element.className = name;
    if (parent) parent.append(element);
    return element;
  }

  // What is chosen, shared by the parts: species 0 is all of them; picked is {view, row} or null.
  const state = {
    species: 0, picked: null, layers: { lakes: true, landings: true, trips: true }, fitZoom: 0,
    still, make, press, changed() { list.markRow(); drawing.draw(); },
  };
  const tables = spreadnetTables(data, state), drawn = spreadnetDrawing(map, data, tables, state);
  const drawing = drawn.layer, hit = spreadnetHit(map, data, tables, state, drawn);
  const cards = spreadnetCards(map, data, tables, state), list = spreadnetList(data, tables, state, cards);

  box.setAttribute("role", "region");
  box.setAttribute("aria-label", "Map of the region. The list gives the same facts.");
  if (matchMedia("(max-width: 959px), (max-height: 899px)").matches) {  // the room goes to the map
    byId("key").open = false;
    map.invalidateSize({ animate: false });
  }
  let fitted = false;
  function whole(animate) { map.fitBounds(region, { animate, padding: [4, 4] }); }
  function fitFirst() {  // a page that opens out of sight has no size yet
    const size = map.getSize();
    if (fitted || size.x < 40 || size.y < 40) return;
    fitted = true;
    whole(false);
    state.fitZoom = map.getZoom();
    map.setMaxBounds(region.pad(0.6));
    map.setMinZoom(Math.max(0, state.fitZoom - 1.5));
  }
  fitFirst();
  L.control.scale({ position: "bottomleft", maxWidth: 140 }).addTo(map);
  drawing.addTo(map);
  const tip = L.tooltip({ direction: "top", offset: [0, -8] });

  function stamp() {
    const middle = map.getCenter();
    box.dataset.centre = `${middle.lat.toFixed(5)},${middle.lng.toFixed(5)}`;
  }
  map.on("moveend", stamp); stamp();
  new ResizeObserver(() => { map.invalidateSize({ animate: false }); fitFirst(); }).observe(box);

  map.on("click", (event) => {
    const found = hit(event.latlng, true);
    if (found) cards.open(found, event.latlng, null);
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

  for (const input of document.querySelectorAll("[data-layer]")) input.addEventListener("change", () => {
    state.layers[input.dataset.layer] = input.checked; drawing.draw();
    box.dataset.hidden = Object.keys(state.layers).filter((name) => !state.layers[name]).join(" ");
  });
  const speciesButtons = Array.from(document.querySelectorAll("[data-species]"));
  const words = Array.from(document.querySelectorAll(".screen [data-one]"), (element) => [element, element.textContent]);
  for (const button of speciesButtons) button.addEventListener("click", () => {
    state.species = +button.dataset.species; press(speciesButtons, button); drawing.draw(); list.fill();
    for (const [element, every] of words) element.textContent = state.species ? element.dataset.one : every;
  });
  byId("whole").addEventListener("click", () => { cards.close(); whole(!still); });
  list.fill();
  performance.mark("drawn");
  document.documentElement.dataset.ready = "yes";
}
