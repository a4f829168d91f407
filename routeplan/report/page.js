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
  var order = ["end", "governing", "miss", "objection", "zone", "closed", "soffit", "place", "hazard", "obstacle"];
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

  function tag(style, label, shape) {
    var text = element("span", label[0], "tag l-" + style);
    var icon = L.divIcon({ html: text, className: "", iconSize: [0, 0] });
    var marker = L.marker([label[2] / 100, label[1] / 100], { icon: icon, interactive: false, keyboard: false, zIndexOffset: -1000 });
    var rank = order.findIndex(function (start) { return style.indexOf(start) === 0; });
    marker.tag = { text: text, rank: rank < 0 ? order.length : rank, at: marker.getLatLng(), bounds: shape.getBounds ? shape.getBounds() : null, place: style === "place", small: style.indexOf("obstacle") === 0, seen: style === "soffit" || style === "closed" };
    return marker;
  }

  function draw(shape, group, faint) {
    var kind = shape[0], style = shape[1], parts = shape[2], label = shape[3], words = shape[4], made;
    var look = { className: "s-" + style + (faint ? " faint" : ""), interactive: Boolean(words) && !faint, keyboard: false };
    if (kind === "mark") {
      var at = ring(parts[0][0])[0];
      var icon = L.divIcon({ html: pin(style, shape[5]), className: "pin pin-" + style, iconSize: [44, 44] });
      made = L.marker(at, { icon: icon, keyboard: true, alt: words ? words[0] : "", title: words ? words[0] : "", zIndexOffset: style === "place" ? -500 : style === "hazard" ? 0 : 500 });
    } else if (kind === "line") {
      made = L.polyline(ring(parts[0][0]), look);
    } else {
      made = L.polygon(parts.map(function (part) { return part.map(ring); }), look);
    }
    if (words && !faint) {
      made.bindPopup(function () { return card(words); }, { maxWidth: 300, minWidth: 200, autoPanPadding: [16, 16] });
    }
    group.addLayer(made);
    if (label && !faint) { group.addLayer(tag(style, label, made)); }
  }

  function between(value, low, high) { return low > high ? (low + high) / 2 : Math.min(Math.max(value, low), high); }

  /* Below two pixels to the metre, places that a move neither starts nor ends at only hide what matters. */
  function coarse() { return map.getZoomScale(map.getZoom(), 0) < 2; }

  /* Where a label may stand, the best place first, as offsets from its point on the map. */
  function offsets(item, at, wide, high, size) {
    if (item.place && coarse()) { return []; }
    if (!item.bounds) { return [[0, 15 + high / 2], [0, -15 - high / 2], [16 + wide / 2, 0], [-16 - wide / 2, 0]]; }
    var a = map.latLngToContainerPoint(item.bounds.getNorthWest()), b = map.latLngToContainerPoint(item.bounds.getSouthEast());
    if (b.x < 0 || b.y < 0 || a.x > size.x || a.y > size.y) { return []; }
    if (item.small && Math.max(b.x - a.x, b.y - a.y) < 16) { return []; }
    var x = at.x < 0 || at.x > size.x ? 0 : between(at.x, wide / 2 + 4, size.x - wide / 2 - 4) - at.x, y = 0;
    if (item.seen) {
      x = between(at.x, Math.max(a.x, wide / 2 + 4), Math.min(b.x, size.x - wide / 2 - 4)) - at.x;
      y = between(at.y, Math.max(a.y, high / 2 + 4), Math.min(b.y, size.y - high / 2 - 4)) - at.y;
    }
    return [[x, y], [x, y + high], [x, y - high]];
  }

  function tidy() {
    map.getContainer().classList.toggle("coarse", coarse());
    var tags = [], size = map.getSize(), frame = map.getContainer().getBoundingClientRect();
    var kept = document.querySelectorAll(coarse() ? ".live .pin:not(.pin-place), .live .leaflet-control" : ".live .pin, .live .leaflet-control");
    var taken = Array.prototype.map.call(kept, function (item) {
      var box = item.getBoundingClientRect(), inset = item.classList.contains("pin") ? 11 : -3;
      return { left: box.left - frame.left + inset, right: box.right - frame.left - inset, top: box.top - frame.top + inset, bottom: box.bottom - frame.top - inset };
    });
    map.eachLayer(function (layer) { if (layer.tag) { tags.push(layer.tag); } });
    tags.sort(function (one, other) { return one.rank - other.rank; }).forEach(function (item) {
      var at = map.latLngToContainerPoint(item.at), wide = item.text.offsetWidth, high = item.text.offsetHeight;
      var put = offsets(item, at, wide, high, size).find(function (offset) {
        var x = at.x + offset[0], y = at.y + offset[1];
        var box = { left: x - wide / 2, right: x + wide / 2, top: y - high / 2, bottom: y + high / 2 };
        var free = box.left >= 2 && box.top >= 2 && box.right <= size.x - 2 && box.bottom <= size.y - 2 && !taken.some(function (other) {
          return box.left < other.right && other.left < box.right && box.top < other.bottom && other.top < box.bottom;
        });
        if (free) { taken.push(box); }
        return free;
      });
      item.text.classList.toggle("gone", !put);
      if (put) { item.text.style.transform = "translate(-50%, -50%) translate(" + put[0] + "px, " + put[1] + "px)"; }
    });
  }

  /* The right edge holds north arrow and buttons, the foot the scale bar: a way is kept clear of them. */
  function fit(bounds, most) {
    var b = bounds.map(function (value) { return value / 100; });
    map.fitBounds([[b[1], b[0]], [b[3], b[2]]], { paddingTopLeft: [30, 30], paddingBottomRight: [66, 44], maxZoom: most, animate: false });
    var c = data.bounds.map(function (value) { return value / 100; }), rim = 70 / map.getZoomScale(map.getZoom(), 0);
    map.panInsideBounds([[c[1] - rim, c[0] - rim], [c[3] + rim, c[2] + rim]], { animate: false });
  }

  function top() { if (wide.matches) { window.scrollTo(0, 0); } else { picker.scrollIntoView(); } }

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

  function furniture() {
    map.zoomControl.setPosition("bottomright");
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
    L.popup({ maxWidth: 260 }).setLatLng(at).setContent(card([button.dataset.place])).openOn(map);
    if (!wide.matches) { document.querySelector(".map").scrollIntoView(); }
  });
  window.addEventListener("hashchange", function () { fromHash(true); });
  window.addEventListener("load", function () {
    if (window.location.hash) { window.setTimeout(top, 0); }
  });
  if (articles.length) { fromHash(false); } else { tidy(); }
}());
