(function () {
  "use strict";
  var table = document.getElementById("items");
  if (!table) { return; }
  var body = table.tBodies[0], rows = Array.prototype.slice.call(body.rows);
  var said = document.getElementById("said");
  function key(row, column) {
    var text = row.cells[column].textContent;
    if (!/water|tank/i.test(table.tHead.rows[0].cells[column].textContent)) { return text.toLowerCase(); }
    return parseFloat(text.replace("\u2212", "-")); /* a real minus */
  }
  function order(a, b) {
    if (typeof a === "string") { return a.localeCompare(b); }
    return isNaN(a) ? (isNaN(b) ? 0 : 1) : isNaN(b) ? -1 : a - b;
  }
  function sort(heading, column) {
    var down = heading.getAttribute("aria-sort") === "ascending";
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (each) { each.removeAttribute("aria-sort"); });
    heading.setAttribute("aria-sort", down ? "descending" : "ascending");
    rows.map(function (row, place) { return { row: row, key: key(row, column), place: place }; })
      .sort(function (a, b) {
        var last = (a.key !== a.key) - (b.key !== b.key); /* what has no number stays below */
        return last || (down ? -1 : 1) * order(a.key, b.key) || a.place - b.place;
      })
      .forEach(function (each) { body.appendChild(each.row); });
  }
  Array.prototype.forEach.call(table.tHead.rows[0].cells, function (heading, column) {
    var button = document.createElement("button");
    button.type = "button";
    while (heading.firstChild) { button.appendChild(heading.firstChild); }
    heading.appendChild(button);
    button.addEventListener("click", function () { sort(heading, column); });
  });
  var search = document.getElementById("search");
  if (!search) { return; } /* the page of a model */
  search.parentNode.hidden = false;
  search.addEventListener("input", function () {
    var words = search.value.toLowerCase().split(/\s+/), shown = 0;
    rows.forEach(function (row) {
      var text = row.textContent.toLowerCase();
      row.hidden = !words.every(function (word) { return text.indexOf(word) >= 0; });
      shown += row.hidden ? 0 : 1;
    });
    said.textContent = shown + " of " + rows.length + " shown";
  });
}());
