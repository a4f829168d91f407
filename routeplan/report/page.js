/* Picks a move and ties lists, tables and keys to the live map. */
(function () {
  "use strict";
  var plan = window.sitePlan, map = window.map_site;
  var articles = Array.prototype.slice.call(document.querySelectorAll(".move"));
  var links = Array.prototype.slice.call(document.querySelectorAll(".picker a"));
  var picker = document.querySelector(".picker");
  var wide = window.matchMedia("(min-width: 900px)");
  var sections = articles.map(function (article) { return article.querySelector(".long"); });
  var homes = articles.map(function (article) { return article.querySelector(".key"); });
  var under = document.querySelector(".under");
  var cameFrom = null;

  function top() { if (wide.matches) { window.scrollTo(0, 0); } else { picker.scrollIntoView(); } }

  function pick(index, scroll) {
    articles.forEach(function (article, at) { article.hidden = at !== index; });
    links.forEach(function (link, at) { link.setAttribute("aria-current", String(at === index)); });
    var picked = document.getElementById("picked"), words = document.createElement("span");
    words.textContent = links[index].querySelector("b").textContent + ": " + plan.words(index);
    picked.textContent = "";
    picked.appendChild(links[index].querySelector("svg").cloneNode(true));
    picked.appendChild(words);
    plan.show(index);
    under.textContent = "";
    if (sections[index]) { under.appendChild(sections[index]); }
    if (!wide.matches) { picker.open = false; }
    var list = picker.querySelector("ol"), row = links[index].parentNode;
    list.scrollTop = row.offsetTop - list.offsetTop;
    if (scroll) {
      top();
      articles[index].focus({ preventScroll: true });
    }
  }

  function fromHash(scroll) {
    var found = /^#move-(\d+)$/.exec(window.location.hash);
    var index = found ? Number(found[1]) - 1 : 0;
    if (index >= 0 && index < articles.length) { pick(index, scroll); }
  }

  map.on("popupopen", function (event) {
    cameFrom = document.activeElement;
    event.popup.getElement().querySelector(".leaflet-popup-close-button").focus({ preventScroll: true });
  });
  map.on("popupclose", function () {
    if (cameFrom && document.contains(cameFrom)) { cameFrom.focus({ preventScroll: true }); }
    cameFrom = null;
  });
  document.addEventListener("keydown", function (event) { if (event.key === "Escape") { map.closePopup(); } });
  document.addEventListener("click", function (event) {
    var button = event.target.closest ? event.target.closest(".go") : null;
    if (!button) { return; }
    plan.point(Number(button.dataset.x), Number(button.dataset.y), button.dataset.place);
    if (!wide.matches) { document.querySelector(".map").scrollIntoView(); }
  });
  /* On paper each section stands in its own move again; A3 is asked for by its button, all else is A4. */
  window.addEventListener("beforeprint", function () {
    sections.forEach(function (section, at) { if (section) { homes[at].after(section); } });
  });
  window.addEventListener("afterprint", function () {
    document.getElementById("paper-a3").media = "not all";
    var at = articles.findIndex(function (article) { return !article.hidden; });
    if (sections[at]) { under.appendChild(sections[at]); }
  });
  document.querySelectorAll(".paper button").forEach(function (button) {
    button.addEventListener("click", function () {
      document.getElementById("paper-a3").media = button.dataset.paper === "a3" ? "print" : "not all";
      window.print();
    });
  });
  window.addEventListener("hashchange", function () { fromHash(true); });
  window.addEventListener("load", function () {
    if (window.location.hash) { window.setTimeout(top, 0); }
  });
  if (articles.length) { fromHash(false); }
}());
