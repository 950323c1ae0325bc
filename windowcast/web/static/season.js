/* Reads the season's picture day by day: point at a day, tap it, or move with the arrow keys. Without
   this script the table below the picture says the same. */
document.querySelectorAll(".timeline").forEach(function (timeline) {
  function days(text) {
    return text.split("|").flatMap(function (part) {
      var at = part.lastIndexOf("~");
      return at < 0 ? [part] : Array(Number(part.slice(at + 1))).fill(part.slice(0, at));
    });
  }
  var dates = days(timeline.dataset.days);
  var head = timeline.querySelector("[data-pick]");
  var slider = timeline.querySelector(".when");
  var rows = Array.from(timeline.querySelectorAll(".plot[data-days]")).map(function (plot) {
    var name = plot.previousElementSibling.previousElementSibling;
    var read = name.querySelector(".read"); // today's is written in, so that nothing moves
    var line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "cursor");
    line.setAttribute("y2", "100%");
    plot.querySelector("svg").appendChild(line);
    var form = plot.dataset.form;
    var texts = days(plot.dataset.days);
    function said(day) {
      var parts = form ? texts[day].split(";") : [];
      return form ? form.replace(/\{(\d)\}/g, function (_, n) { return parts[n]; }) : texts[day];
    }
    return { name: name.querySelector("b").textContent, read: read, line: line, said: said };
  });
  var today = Number(slider.dataset.today);
  var picked = today;
  var date = head.querySelector(".read");
  timeline.classList.add("scripted");

  function show(day) {
    picked = Math.min(Math.max(day, 0), dates.length - 1);
    timeline.classList.add("reading");
    date.textContent = dates[picked];
    var at = (100 * (picked + 0.5)) / dates.length + "%";
    rows.forEach(function (row) {
      row.read.textContent = row.said(picked);
      row.line.setAttribute("x1", at);
      row.line.setAttribute("x2", at);
    });
    slider.setAttribute("aria-valuenow", picked + 1);
    slider.setAttribute("aria-valuetext", [dates[picked]].concat(rows.map(function (row) {
      return row.name + ": " + row.said(picked);
    })).join(". "));
  }
  function rest() {
    timeline.classList.remove("reading");
  }
  slider.tabIndex = 0;
  slider.setAttribute("role", "slider");
  slider.setAttribute("aria-label", timeline.dataset.label);
  slider.setAttribute("aria-valuemin", 1);
  slider.setAttribute("aria-valuemax", dates.length);
  show(today);
  rest();

  function pointed(event) {
    var plot = event.target.closest(".plot");
    if (!plot) { return; }
    var box = plot.getBoundingClientRect();
    show(Math.floor(((event.clientX - box.left) / box.width) * dates.length));
  }
  timeline.addEventListener("pointermove", pointed);
  timeline.addEventListener("pointerdown", pointed);
  timeline.addEventListener("pointerleave", function (event) {
    if (event.pointerType === "mouse" && document.activeElement !== slider) { rest(); }
  });
  slider.addEventListener("focus", function () { show(picked); });
  slider.addEventListener("blur", rest);
  slider.addEventListener("keydown", function (event) {
    var step = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -7, PageUp: 7 }[event.key];
    var to = { Home: 0, End: dates.length - 1 }[event.key];
    if (event.key === "Escape") { slider.blur(); return; }
    if (step === undefined && to === undefined) { return; }
    event.preventDefault();
    show(to === undefined ? picked + step : to);
  });
});
