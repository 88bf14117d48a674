// Cards: what is said of a landing, a lake or a trip in the map's popup, and moving the map to it.
function spreadnetCards(map, data, tables, state) {
  "use strict";
  const lakes = data.lakes, landings = data.landings, trips = data.trips;
  const {
    latLng, lakeAt, landingAt, lakeNowhere, landingNowhere, lakeBox, tripLine, hasAll, percent, statusWord, thereWord,
  } = tables;
  const box = map.getContainer(), byId = (id) => document.getElementById(id);
  const DOWN = 0.87; // how far down the map a chosen place comes
  const region = L.latLngBounds(data.bounds.slice(0, 2), data.bounds.slice(2));
  const popup = L.popup({ autoPanPadding: [12, 12], closeButton: true });
  const { make, still } = state;

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
      if (landings.first_10[i]) fact(list, "Among the first ten", landings.first_10[i], "of repeats");
      fact(list, "Avoided per 100 hours", landings.avoided[i], span(landings.avoided_range[i]));
      fact(list, "Boats a season", landings.boats[i], span(landings.boats_range[i]));
      fact(list, "Best time", landings.when[i]);
      fact(list, "Bridging boats", landings.bridging[i], "met in 100 hours: from a lake known to have a species to one not known to have it");
      if (landings.leaving[i]) fact(list, "Share avoided", landings.leaving[i], "on boats leaving, the rest on arriving");
      if (landings.visited[i] === "0") make("p", "Boats not counted here yet: its traffic is estimated from other landings.", card, "flag");
      if (landings.staffed[i] === "0") make("p", "Can't be staffed.", card, "flag");
      if (landingNowhere.has(i)) make("p", "Its place is not known: shown at its lake.", card, "flag");
    },
    lakes(i, card) {
      make("p", lakes.area[i] === null ? "Lake" : `Lake of ${lakes.area[i].toLocaleString("en")} ha`, card, "sub");
      const list = make("dl", "", card), seasons = data.seasons === 1 ? "1 season" : data.seasons + " seasons";
      if (data.species.length > 1) fact(list, "Status", statusWord(i, 0));
      fact(list, "New infestation", hasAll(i) ? thereWord(0) : percent(lakes.new[0][i]), hasAll(i) ? "" : `chance of at least one in ${seasons} if free now`);
      data.species.forEach((label, s) => {
        make("h3", label, card);
        const one = make("dl", "", card);
        fact(one, "Status", statusWord(i, s + 1));
        if (lakes.status[s + 1][i] !== "0") {
          fact(one, "Infested now", percent(lakes.now[s][i]), "chance");
          fact(one, "New infestation", percent(lakes.new[s + 1][i]), `chance in ${seasons} if free now`);
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
      const line = tripLine[row];  // its northern end, so that the line lies below the card
      let k = 0;
      for (let p = 2; p < line.length; p += 2) if (line[p + 1] < line[k + 1]) k = p;
      return line.length ? latLng(line[k], line[k + 1]) : region.getCenter();
    }
    if (view === "landings" && landingNowhere.has(row) && lakeNowhere.has(landings.of[row])) return region.getCenter();
    if (view === "lakes" && lakeNowhere.has(row)) return region.getCenter();
    const at = view === "lakes" ? lakeAt : landingAt;
    return latLng(at[2 * row], at[2 * row + 1]);
  }

  function show(view, row) {
    const target = placeOf(view, row);
    let zoom = Math.max(map.getZoom(), state.fitZoom + 1.5);
    if (view === "trips") {
      const line = tripLine[row];
      if (line.length) zoom = Math.min(map.getBoundsZoom(L.latLngBounds(latLng(line[0], line[1]), latLng(line[line.length - 2], line[line.length - 1])).pad(0.3)) - 1, state.fitZoom + 3);
    } else {
      const i = view === "lakes" ? row : landings.of[row], at = 4 * i;
      const fits = map.getBoundsZoom(L.latLngBounds(latLng(lakeBox[at], lakeBox[at + 1]), latLng(lakeBox[at + 2], lakeBox[at + 3])).pad(0.4));
      zoom = Math.min(Math.max(zoom, Math.min(fits, state.fitZoom + 3)), Math.max(fits, state.fitZoom));
    }
    // Low in the map, so that its card has room above it.
    const low = map.project(target, zoom).subtract([0, ((view === "trips" ? 0.45 : DOWN) - 0.5) * map.getSize().y]);
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
    state.picked = what; back = from;
    box.classList.toggle("narrow", size.x < 560);
    box.classList.add("reading");
    state.changed();
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
    state.picked = null; back = null;
    box.classList.remove("reading");
    state.changed();
    if (goes) goes.focus({ preventScroll: false });
  });
  map.on("resize", () => {  // as when the key opens: the chosen place stays in view
    if (popup.isOpen()) map.panInside(popup.getLatLng(), { padding: [24, 24], animate: false });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && map.hasLayer(popup)) { map.closePopup(popup); event.preventDefault(); }
  });

  return { open, show, title, boats, close: () => map.closePopup(popup) };
}
