/* Draws the plan on the live map and picks a move. Every word comes from the data block and is shown as text. */
(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("drawing").textContent);
  var map = window.map_site;
  var svgns = "http://www.w3.org/2000/svg";
  var articles = Array.prototype.slice.call(document.querySelectorAll(".move"));
  var links = Array.prototype.slice.call(document.querySelectorAll(".picker a"));
  var picker = document.querySelector(".picker");
  var wide = window.matchMedia("(min-width: 900px)");
  var marksWithCard = { hazard: 1, stop: 1, miss: 1, objection: 1, governing: 1, place: 1, end: 1 };
  var order = ["end", "governing", "miss", "objection", "zone", "closed", "place", "soffit", "hazard", "obstacle"];
  var chosen = L.layerGroup();
  var cameFrom = null;

  function element(kind, text, className) {
    var made = document.createElement(kind);
    if (text !== undefined) { made.textContent = text; }
    if (className) { made.className = className; }
    return made;
  }

  function ring(flat) {
    var points = [];
    for (var i = 0; i < flat.length; i += 2) { points.push([flat[i + 1] / 100, flat[i] / 100]); }
    return points;
  }

  function card(words) {
    var box = element("div");
    var list = element("dl");
    box.appendChild(element("b", words[0]));
    words.slice(1).forEach(function (pair) {
      var row = element("div");
      row.appendChild(element("dt", pair[0]));
      row.appendChild(element("dd", pair[1]));
      list.appendChild(row);
    });
    box.appendChild(list);
    return box;
  }

  function pin(style, character) {
    var svg = document.createElementNS(svgns, "svg");
    var group = document.createElementNS(svgns, "g");
    var use = document.createElementNS(svgns, "use");
    var text = document.createElementNS(svgns, "text");
    svg.setAttribute("width", "1");
    svg.setAttribute("height", "1");
    svg.setAttribute("aria-hidden", "true");
    group.setAttribute("class", "m-" + style);
    use.setAttribute("href", "#m-" + style);
    text.setAttribute("class", "in");
    text.textContent = character;
    group.appendChild(use);
    group.appendChild(text);
    svg.appendChild(group);
    var holder = element("div");
    holder.appendChild(svg);
    return holder;
  }

  function tag(style, label, beside) {
    var text = element("span", label[0], "tag l-" + style + (beside ? " beside" : ""));
    var icon = L.divIcon({ html: text, className: "", iconSize: [0, 0] });
    var marker = L.marker([label[2] / 100, label[1] / 100], { icon: icon, interactive: false, keyboard: false, zIndexOffset: -1000 });
    var rank = order.findIndex(function (start) { return style.indexOf(start) === 0; });
    marker.tag = { text: text, rank: rank < 0 ? order.length : rank };
    return marker;
  }

  function draw(shape, group, faint) {
    var kind = shape[0], style = shape[1], parts = shape[2], label = shape[3], words = shape[4], made;
    var look = { className: "s-" + style + (faint ? " faint" : ""), interactive: Boolean(words) && !faint, keyboard: false };
    if (kind === "mark") {
      var at = ring(parts[0][0])[0];
      var icon = L.divIcon({ html: pin(style, shape[5]), className: "pin", iconSize: [44, 44] });
      made = L.marker(at, { icon: icon, keyboard: true, alt: words ? words[0] : "", title: words ? words[0] : "", zIndexOffset: style === "place" ? -500 : 0 });
    } else if (kind === "line") {
      made = L.polyline(ring(parts[0][0]), look);
    } else {
      made = L.polygon(parts.map(function (part) { return part.map(ring); }), look);
    }
    if (words && !faint) {
      made.bindPopup(function () { return card(words); }, { maxWidth: 300, minWidth: 200, autoPanPadding: [16, 16] });
    }
    group.addLayer(made);
    if (label && !faint) { group.addLayer(tag(style, label, kind === "mark" && Boolean(marksWithCard[style]))); }
  }

  function tidy() {
    var tags = [];
    var taken = Array.prototype.map.call(document.querySelectorAll(".pin"), function (marked) {
      var box = marked.getBoundingClientRect();
      return { left: box.left + 12, right: box.right - 12, top: box.top + 12, bottom: box.bottom - 12 };
    });
    map.eachLayer(function (layer) { if (layer.tag) { tags.push(layer.tag); } });
    tags.sort(function (one, other) { return one.rank - other.rank; }).forEach(function (item) {
      var box = item.text.getBoundingClientRect();
      var hit = taken.some(function (other) {
        return box.left < other.right && other.left < box.right && box.top < other.bottom && other.top < box.bottom;
      });
      item.text.classList.toggle("gone", hit);
      if (!hit) { taken.push(box); }
    });
  }

  function fit(bounds, most) {
    var b = bounds.map(function (value) { return value / 100; });
    map.fitBounds([[b[1], b[0]], [b[3], b[2]]], { padding: [28, 28], maxZoom: most, animate: false });
  }

  function pick(index, scroll) {
    chosen.clearLayers();
    articles.forEach(function (article, at) { article.hidden = at !== index; });
    links.forEach(function (link, at) { link.setAttribute("aria-current", String(at === index)); });
    data.moves.forEach(function (move, at) {
      if (at === index) { return; }
      move.shapes.forEach(function (shape) { if (shape[1].indexOf("way") === 0) { draw(shape, chosen, true); } });
    });
    var move = data.moves[index];
    move.shapes.forEach(function (shape) { draw(shape, chosen, false); });
    var picked = document.getElementById("picked");
    picked.textContent = "";
    picked.appendChild(links[index].querySelector("svg").cloneNode(true));
    picked.appendChild(element("span", links[index].querySelector("b").textContent + ": " + move.words));
    fit(move.bounds, 4);
    tidy();
    if (!wide.matches) { picker.open = false; }
    if (scroll) {
      if (wide.matches) { window.scrollTo(0, 0); } else { picker.scrollIntoView(); }
      articles[index].focus({ preventScroll: true });
    }
  }

  function fromHash(scroll) {
    var found = /^#move-(\d+)$/.exec(window.location.hash);
    var index = found ? Number(found[1]) - 1 : 0;
    if (index >= 0 && index < articles.length) { pick(index, scroll); }
  }

  function furniture() {
    L.control.scale({ imperial: false, maxWidth: 140 }).addTo(map);
    var north = L.control({ position: "topright" });
    north.onAdd = function () {
      var box = element("div", undefined, "north furniture");
      var svg = document.createElementNS(svgns, "svg");
      svg.setAttribute("viewBox", "-20 -20 40 52");
      svg.setAttribute("role", "img");
      svg.setAttribute("aria-label", "Grid north is up");
      var arrow = document.createElementNS(svgns, "path");
      arrow.setAttribute("d", "M0-14L7 12 0 6-7 12Z");
      arrow.setAttribute("class", "dark");
      var letter = document.createElementNS(svgns, "text");
      letter.setAttribute("class", "mid");
      letter.setAttribute("y", "26");
      letter.textContent = "N";
      svg.appendChild(arrow);
      svg.appendChild(letter);
      box.appendChild(svg);
      return box;
    };
    north.addTo(map);
  }

  map.getContainer().setAttribute("role", "group");
  map.getContainer().setAttribute("aria-label", "Map of the site");
  map.getContainer().setAttribute("aria-describedby", "map-words");
  furniture();
  fit(data.bounds, 4);
  var base = L.layerGroup();
  data.base.forEach(function (shape) { draw(shape, base, false); });
  base.addTo(map);
  chosen.addTo(map);
  map.on("zoomend moveend", tidy);
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
    var at = [Number(button.dataset.y) - data.origin[1], Number(button.dataset.x) - data.origin[0]];
    map.setView(at, Math.max(map.getZoom(), 4), { animate: false });
    L.popup({ maxWidth: 260 }).setLatLng(at).setContent(card([button.textContent])).openOn(map);
    if (!wide.matches) { document.querySelector(".map").scrollIntoView(); }
  });
  window.addEventListener("hashchange", function () { fromHash(true); });
  if (articles.length) { fromHash(false); } else { tidy(); }
}());
