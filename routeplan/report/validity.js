/* Says so where the last day of a plan, or of a move, is over. */
(function () {
  "use strict";
  var now = new Date();
  var today = [now.getFullYear(), String(now.getMonth() + 1).padStart(2, "0"), String(now.getDate()).padStart(2, "0")].join("-");
  Array.prototype.forEach.call(document.querySelectorAll("[data-until]"), function (part) {
    if (today <= part.dataset.until) { return; }
    var said = document.createElement("p");
    said.className = "past";
    said.setAttribute("role", "alert");
    said.textContent = (part.dataset.past || "VOID: its last day was {n}. Do not drive by it.").replace("{n}", part.dataset.until);
    part.insertBefore(said, part.firstChild);
  });
}());
