// The list beside the map: the same facts for those who read, search or use the keyboard.
function spreadnetList(data, tables, state, cards) {
  "use strict";
  const lakes = data.lakes, landings = data.landings, trips = data.trips;
  const {
    lakeCount, landingCount, tripCount, lakeClass, percent, statusWord, thereWord,
  } = tables;
  const byId = (id) => document.getElementById(id);
  const { make, press } = state, { open, show, title, boats } = cards;

  const plain = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  const seasonsText = data.seasons === 1 ? "1 season" : data.seasons + " seasons";
  const ranked = landings.rank.some((rank) => rank);
  const falling = (values) => Array.from(values.keys()).sort((a, b) => (values[b] ?? -1) - (values[a] ?? -1) || a - b);
  const EQUAL = " In a group called about equal, each landing's range of ranks reaches the first one's rank, and the first one's range reaches back; neighbouring groups may overlap too.";
  const views = {
    landings: {
      about: (ranked ? "By " + data.unit : "Busiest first; this run has no ranking") + ". Small figures: 90% intervals." + (landings.group.some((g, i) => g >= 0 && g === landings.group[i - 1]) ? EQUAL : ""),
      heads: ["Rank", "Landing and lake", "Avoided per 100 h", "Boats a season", "Best time"],
      order: () => Array.from(landings.name.keys()),
      text: (i) => landings.name[i] + " " + landings.lake[i],
      cells: (i) => [[landings.rank[i] || "–", landings.ranks[i]], null, [landings.avoided[i] || "–", landings.avoided_range[i]], [landings.boats[i] || "–", landings.boats_range[i]], [landings.when[i].replace("-", "\u2011"), ""]],
      under: (i) => [landings.lake[i], landings.visited[i] === "0" ? "○ boats not counted yet" : "", landings.staffed[i] === "0" ? "⊘ can't be staffed" : ""],
    },
    lakes: {
      about: "By chance of a new infestation in " + seasonsText + " if free now.",
      heads: ["Lake", "New infestation", "Status"],
      order: () => falling(lakes.new[state.species]),
      text: (i) => lakes.name[i],
      cells: (i) => [null, [lakeClass(i) === 5 ? thereWord(state.species) : percent(lakes.new[state.species][i]), ""], [statusWord(i, state.species), ""]],
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
      const on = state.picked && state.picked.view === current && +button.dataset.row === state.picked.row;
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
  const viewButtons = Array.from(document.querySelectorAll("[data-view]"));
  for (const button of viewButtons) button.addEventListener("click", () => {
    current = button.dataset.view; limit = 200; press(viewButtons, button); fill();
  });

  return { fill, markRow };
}
