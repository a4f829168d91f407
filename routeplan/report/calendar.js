/* Marks today, by the clock of whoever reads, and brings its column into view. */
(function () {
  "use strict";
  var now = new Date();
  function two(n) { return (n < 10 ? "0" : "") + n; }
  var today = now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate());
  Array.prototype.forEach.call(document.querySelectorAll("th[data-first]"), function (head) {
    if (head.dataset.first <= today && today <= head.dataset.last) {
      head.classList.add("today");
      var word = document.createElement("small");
      word.textContent = "today";
      head.appendChild(word);
      var wide = head.closest(".wide");
      wide.scrollLeft = Math.max(0, head.offsetLeft - wide.clientWidth / 2);
    }
  });
})();
