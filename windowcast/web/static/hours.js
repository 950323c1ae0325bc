/* Reads an hour of the day panels check by check: point at it, tap it, or open a day and use the arrow
   keys. It puts the sentences of the table's head together with the cells of the hour; without this
   script the table itself is read. */
document.querySelectorAll(".days").forEach(function (days) {
  var table = days.querySelector(".hour-checks table");
  if (!table) { return; }
  var marks = { "●": "fit", "◐": "marginal", "○": "unfit", "?": "unknown" };
  var heads = Array.from(table.tHead.rows[0].cells).slice(2);
  var bodies = Array.from(table.tBodies);
  var panels = Array.from(days.querySelectorAll(".day"));
  var charts = panels.map(function (panel) { return panel.querySelector("svg"); });
  var grid = days.querySelector(".day-grid");
  var first = Number(table.dataset.first), last = Number(table.dataset.last);
  var verdicts = JSON.parse(table.dataset.verdicts);
  var card = document.createElement("div");
  card.className = "hour-card";
  card.setAttribute("role", "status");
  card.hidden = true;
  days.appendChild(card);
  days.classList.add("scripted");
  var shown = "";

  function sentence(head, cell) {
    var text = cell.textContent, mark = text.slice(-1), value = mark in marks ? text.slice(0, -1) : text;
    var side = mark === "?" ? "unknown" : !(mark in marks) || mark === "●" ? "fits" : "low";
    if (side === "low" && (cell.className === "u" || !head.dataset.low)) { side = "high"; }
    var item = document.createElement("li");
    item.className = mark in marks ? marks[mark] : "fit";
    item.textContent = (mark in marks ? mark : "●") + " " + head.dataset[side].replace("{0}", value);
    return item;
  }
  /* What is against the hour first, the worst on top; what fits is folded where there is little room. */
  function folded(items, list, rest) {
    var order = ["unfit", "unknown", "marginal"], fits = document.createElement("ul");
    order.forEach(function (grade) {
      items.forEach(function (item) { if (item.classList.contains(grade)) { list.appendChild(item); } });
    });
    items = items.filter(function (item) { return !item.parentNode; });
    if (!items.length) { return; }
    fits.className = "plain";
    fits.append.apply(fits, items);
    rest.open = matchMedia("(min-width: 40rem)").matches;
    rest.appendChild(document.createElement("summary")).textContent = table.dataset.fits.replace("{0}", items.length);
    rest.appendChild(fits);
  }
  function hide() {
    card.hidden = true;
    shown = "";
    panels.forEach(function (panel) { panel.classList.remove("read"); });
  }
  function show(day, hour) {
    var body = bodies[day], rows = Array.from(body.rows).slice(1);
    var at = Math.min(Math.max(hour - Number(body.dataset.first), 0), Math.max(rows.length - 1, 0));
    var name = panels[day].querySelector(".day-name").textContent;
    if (shown === day + "." + at) { return at; }
    shown = day + "." + at;
    card.textContent = "";
    var title = document.createElement("b"), list = document.createElement("ul");
    var rest = document.createElement("details");
    list.className = "plain";
    if (rows.length) {
      var cells = Array.from(rows[at].cells);
      title.textContent = table.dataset.read.replace("{0}", name).replace("{1}", cells[0].textContent)
        .replace("{2}", verdicts[cells[1].textContent]);
      var items = cells.slice(2).map(function (cell, n) { return sentence(heads[n], cell); });
      days.querySelectorAll(".always li").forEach(function (item) { items.push(item.cloneNode(true)); });
      folded(items, list, rest);
    } else {
      title.textContent = name + ": " + body.dataset.no;
    }
    card.append(title, list);
    if (rest.firstChild) { card.appendChild(rest); }
    card.hidden = false;
    panels.forEach(function (panel, n) { panel.classList.toggle("read", n === day); });
    card.style.top = panels[day].offsetTop + charts[day].getBoundingClientRect().bottom
      - panels[day].getBoundingClientRect().top + 6 + "px";
    return at;
  }
  function pointed(event) {
    var chart = event.target.closest(".day-hours");
    if (!chart) { return false; }
    var box = chart.getBoundingClientRect();
    show(charts.indexOf(chart), Math.floor(first + ((event.clientX - box.left) / box.width) * (last - first)));
    return true;
  }
  grid.addEventListener("pointermove", function (event) {
    if (event.pointerType === "mouse" && !pointed(event)) { hide(); }
  });
  grid.addEventListener("click", function (event) {
    if (event.detail && pointed(event)) { event.preventDefault(); } // a key has no place to point at
  });
  days.addEventListener("pointerleave", function (event) {
    if (event.pointerType === "mouse") { hide(); }
  });
  document.addEventListener("pointerdown", function (event) {
    if (!days.contains(event.target)) { hide(); }
  });
  grid.addEventListener("keydown", function (event) {
    var day = panels.indexOf(event.target.closest(".day"));
    if (event.key === "Escape") { hide(); return; }
    var step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (day < 0 || step === undefined) { return; }
    event.preventDefault();
    var now = shown.split("."), from = Number(bodies[day].dataset.first);
    show(day, from + (now[0] === String(day) ? Number(now[1]) + step : 0));
  });
  grid.addEventListener("focusout", hide);
});
