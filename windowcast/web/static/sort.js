/* Sorts a table by the column whose head is pressed; without it the table is simply not sorted. */
document.querySelectorAll("table.sortable").forEach(function (table) {
  table.querySelectorAll("thead th").forEach(function (head, column) {
    var press = document.createElement("button");
    press.type = "button";
    press.className = "quiet head-sort";
    press.textContent = head.textContent;
    head.replaceChildren(press);
    press.addEventListener("click", function () {
      var up = head.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("thead th").forEach(function (other) { other.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      var body = table.tBodies[0];
      var key = function (row) {
        var cell = row.cells[column];
        return "sort" in cell.dataset ? Number(cell.dataset.sort) : cell.textContent;
      };
      Array.from(body.rows)
        .sort(function (a, b) {
          var x = key(a), y = key(b);
          return (x < y ? -1 : x > y ? 1 : 0) * (up ? 1 : -1);
        })
        .forEach(function (row) { body.appendChild(row); });
    });
  });
});
