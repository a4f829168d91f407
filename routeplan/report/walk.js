/* Walks the chosen move by its stops or by half metres: the machine on the map, a line through the strips, figures. */
(function () {
  "use strict";
  var plan = window.sitePlan;
  var sections = Array.prototype.slice.call(document.querySelectorAll(".long"));

  /* What is to spare is rounded down, to millimetres and tenths of a degree; so is a speed limit. */
  function figure(value, unit, spare) {
    if (unit === " m/s") { return (Math.floor(value * 100 + 1e-6) / 100).toFixed(2) + unit; }
    if (!spare) { return value.toFixed(2) + unit; }
    return unit === " m" ? Math.floor(value * 1000 + 1e-6) + " mm" : (Math.floor(value * 10 + 1e-6) / 10).toFixed(1) + unit;
  }

  function begin(section) {
    var walk = plan.walk(Number(section.dataset.move) - 1), at = -1, along = -1;
    var strips = section.querySelector(".strips"), cursor = section.querySelector(".cursor");
    var side = window.sideView(section.querySelector(".side"), walk.side);
    var said = section.querySelector(".at"), here = Array.prototype.slice.call(section.querySelectorAll(".here"));

    function rowAt(chainage) {
      var found = 0;
      walk.rows.forEach(function (row, number) { if (row[0] <= chainage + 0.011) { found = number; } });
      return found;
    }

    var tightest = rowAt(walk.tightest === null ? 0 : walk.tightest);

    function to(row, words, chainage) {
      at = Math.min(Math.max(row, 0), walk.rows.length - 1);
      var figures = walk.rows[at];
      along = chainage === undefined ? figures[0] : chainage;
      cursor.hidden = false;
      cursor.style.left = (walk.length ? 100 * Math.min(figures[0] / walk.length, 1) : 0) + "%";
      here.forEach(function (box, number) {
        var value = figures[4 + number];
        box.textContent = value === null ? "here: " + walk.nothing[number] : "here " + figure(value, walk.units[number], walk.spare[number]);
      });
      said.textContent = words || "At " + figures[0].toFixed(1) + " m";
      side(at, "at " + figures[0].toFixed(1) + " m" + (at === tightest ? ", the tightest place" : ""));
      plan.stand(Number(section.dataset.move) - 1, figures);
    }

    function under(event) {
      var box = strips.getBoundingClientRect(), row = rowAt(walk.length * (event.clientX - box.left) / box.width);
      if (row !== at) { to(row); }
    }

    function toStop(step) {
      var ahead = walk.stops.filter(function (stop) { return step > 0 ? stop[0] > along : stop[0] < along; });
      var stop = step > 0 ? ahead[0] : ahead[ahead.length - 1];
      if (stop) { to(rowAt(stop[0]), stop[1], stop[0]); } else { to(step > 0 ? walk.rows.length - 1 : 0, step > 0 ? "Finish" : "Start"); }
    }

    Array.prototype.forEach.call(section.querySelectorAll(".ticks b"), function (tick) { tick.style.left = tick.dataset.share + "%"; });
    section.addEventListener("click", function (event) {
      var button = event.target.closest("button");
      if (button && button.dataset.walk === "tightest") { to(tightest, "Tightest place"); }
      else if (button) { toStop(button.dataset.walk === "next" ? 1 : -1); }
      else if (strips.contains(event.target)) { under(event); }
    });
    /* A finger, or a mouse with its button down, is followed along the strips. */
    strips.addEventListener("pointermove", function (event) { if (event.buttons) { under(event); } });
    section.addEventListener("keydown", function (event) {
      if (event.target !== section) { return; }
      var step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (step) { to(at + step); event.preventDefault(); }
      if (event.key === "Home") { to(0, "Start"); event.preventDefault(); }
      if (event.key === "End") { to(walk.rows.length - 1, "Finish"); event.preventDefault(); }
    });
  }

  sections.forEach(begin);
}());
