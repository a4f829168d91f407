/* Draws the plan on the live map and keeps names and marks apart. Every word comes from the data block and is shown as text. */
window.sitePlan = (function () {
  "use strict";
  var data = JSON.parse(document.getElementById("drawing").textContent);
  var map = window.map_site;
  var svgns = "http://www.w3.org/2000/svg";
  var order = ["end", "governing", "miss", "objection", "zone", "closed", "soffit", "place", "hazard", "obstacle"];
  /* Marks of a move, which give way to one another in this order, the last first; as on the printed plan. */
  var keptApart = ["end", "governing", "objection", "miss", "stop", "watch"];
  var turns = [90, 270, 45, 135, 225, 315, 0, 180], apart = 19, step = 25;
  var base = L.layerGroup(), chosen = L.layerGroup();
  var pins = [], ways = [], unnamed = {}, standing = null;

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

  function symbol(style, character) {
    var svg = document.createElementNS(svgns, "svg");
    var group = document.createElementNS(svgns, "g");
    var use = document.createElementNS(svgns, "use");
    var text = document.createElementNS(svgns, "text");
    var leader = document.createElementNS(svgns, "path");
    svg.setAttribute("width", "1");
    svg.setAttribute("height", "1");
    svg.setAttribute("aria-hidden", "true");
    leader.setAttribute("class", "leader");
    group.setAttribute("class", "m-" + style);
    use.setAttribute("href", "#m-" + style);
    text.setAttribute("class", "in");
    text.textContent = character;
    group.appendChild(use);
    group.appendChild(text);
    svg.appendChild(leader);
    svg.appendChild(group);
    var holder = element("div");
    holder.appendChild(svg);
    return holder;
  }

  function tag(style, label, shape, number, pin) {
    var text = element("span", label[0], "tag l-" + style);
    var icon = L.divIcon({ html: text, className: "", iconSize: [0, 0] });
    var marker = L.marker([label[2] / 100, label[1] / 100], { icon: icon, interactive: false, keyboard: false, zIndexOffset: -1000 });
    var rank = order.findIndex(function (start) { return style.indexOf(start) === 0; });
    marker.tag = { text: text, pin: pin, number: number, rank: rank < 0 ? order.length : rank, at: marker.getLatLng(), bounds: shape.getBounds ? shape.getBounds() : null, place: style === "place", small: style.indexOf("obstacle") === 0, seen: style === "soffit" || style === "closed" };
    return marker;
  }

  function draw(shape, group, faint, number) {
    var kind = shape[0], style = shape[1], parts = shape[2], label = shape[3], words = shape[4], made;
    var look = { className: "s-" + style + (faint ? " faint" : ""), interactive: Boolean(words) && !faint, keyboard: false };
    if (kind === "mark") {
      var at = ring(parts[0][0])[0];
      var icon = L.divIcon({ html: symbol(style, shape[5]), className: "pin pin-" + style, iconSize: [44, 44] });
      made = L.marker(at, { icon: icon, keyboard: true, alt: words ? words[0] : "", title: words ? words[0] : "", zIndexOffset: style === "place" ? -500 : style === "hazard" ? 0 : 500 });
    } else if (kind === "line") {
      made = L.polyline(ring(parts[0][0]), look);
    } else {
      made = L.polygon(parts.map(function (part) { return part.map(ring); }), look);
    }
    if (words && !faint) {
      made.bindPopup(function () { return card(words); }, { maxWidth: 300, minWidth: 200, autoPanPadding: [16, 16] });
    }
    var pin = kind === "mark" ? { marker: made, style: style, number: number, by: [0, 0] } : null;
    if (pin) { pins.push(pin); }
    if (style.indexOf("way") === 0 && !faint) { ways.push(made); }
    group.addLayer(made);
    if (label && !faint) { group.addLayer(tag(style, label, made, number, pin)); }
  }

  function between(value, low, high) { return low > high ? (low + high) / 2 : Math.min(Math.max(value, low), high); }

  /* Below two pixels to the metre, places that a move neither starts nor ends at only hide what matters. */
  function coarse() { return map.getZoomScale(map.getZoom(), 0) < 2; }

  /* What a move comes nowhere near is named once the map is close enough to look round in. */
  function passedBy(number) { return unnamed[number] && map.getZoomScale(map.getZoom(), 0) < 40; }

  /* Where a label may stand, the best place first, as offsets from its point on the map. */
  function offsets(item, at, wide, high, size) {
    if (passedBy(item.number) || item.place && coarse()) { return []; }
    if (!item.bounds) {
      var right = 16 + wide / 2, below = 15 + high / 2;
      return [[0, below], [0, -below], [right, 0], [-right, 0], [right, below], [-right, below], [right, -below], [-right, -below]];
    }
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

  /* Sets marks of the move a step aside where they would hide one another, each with a line to its place. */
  function spread() {
    var size = map.getSize(), placed = [];
    pins.forEach(function (pin) { pin.marker.getElement().classList.toggle("passed-by", Boolean(passedBy(pin.number))); });
    pins.filter(function (pin) { return keptApart.indexOf(pin.style) >= 0; }).sort(function (one, other) {
      return keptApart.indexOf(one.style) - keptApart.indexOf(other.style);
    }).forEach(function (pin) {
      var at = map.latLngToContainerPoint(pin.marker.getLatLng()), box = pin.marker.getElement();
      var aside = turns.map(function (turn) {
        return [step * Math.cos(turn * Math.PI / 180), -step * Math.sin(turn * Math.PI / 180)];
      }).filter(function (by) {
        return at.x + by[0] > 22 && at.x + by[0] < size.x - 66 && at.y + by[1] > 22 && at.y + by[1] < size.y - 22;
      });
      var by = [[0, 0]].concat(aside).find(function (by) {
        return !placed.some(function (other) { return Math.hypot(at.x + by[0] - other[0], at.y + by[1] - other[1]) < apart; });
      }) || [0, 0];
      pin.by = by;
      placed.push([at.x + by[0], at.y + by[1]]);
      box.style.marginLeft = by[0] - 22 + "px";
      box.style.marginTop = by[1] - 22 + "px";
      box.querySelector(".leader").setAttribute("d", "M0,0L" + -by[0] + "," + -by[1]);
    });
  }

  /* Boxes along the chosen way, in pixels: a name of the site must not hide it. */
  function alongWays(size) {
    var boxes = [];
    ways.forEach(function (way) {
      var points = way.getLatLngs().map(function (at) { return map.latLngToContainerPoint(at); });
      points.slice(1).forEach(function (to, index) {
        var from = points[index], steps = Math.max(1, Math.ceil(from.distanceTo(to) / 6));
        for (var n = 0; n <= steps; n += 1) {
          var x = from.x + (to.x - from.x) * n / steps, y = from.y + (to.y - from.y) * n / steps;
          if (x > 0 && y > 0 && x < size.x && y < size.y) { boxes.push({ left: x - 3, right: x + 3, top: y - 3, bottom: y + 3 }); }
        }
      });
    });
    return boxes;
  }

  function tidy() {
    map.getContainer().classList.toggle("coarse", coarse());
    spread();
    var tags = [], size = map.getSize(), frame = map.getContainer().getBoundingClientRect();
    var kept = document.querySelectorAll(coarse() ? ".live .pin:not(.pin-place), .live .leaflet-control" : ".live .pin, .live .leaflet-control");
    var taken = Array.prototype.map.call(kept, function (item) {
      var box = item.getBoundingClientRect(), inset = item.classList.contains("pin") ? 11 : -3;
      return { left: box.left - frame.left + inset, right: box.right - frame.left - inset, top: box.top - frame.top + inset, bottom: box.bottom - frame.top - inset };
    });
    var clear = taken.concat(alongWays(size));
    map.eachLayer(function (layer) { if (layer.tag) { tags.push(layer.tag); } });
    tags.sort(function (one, other) { return one.rank - other.rank; }).forEach(function (item) {
      var by = item.pin ? item.pin.by : [0, 0], at = map.latLngToContainerPoint(item.at).add(by), wide = item.text.offsetWidth, high = item.text.offsetHeight;
      var tried = offsets(item, at, wide, high, size), put = tried.find(free(clear));
      if (!put && item.rank < order.indexOf("soffit")) { put = tried.find(free(taken)); }
      if (put) { taken.push(around(put)); clear.push(around(put)); }
      function around(offset) {
        var x = at.x + offset[0], y = at.y + offset[1];
        return { left: x - wide / 2, right: x + wide / 2, top: y - high / 2, bottom: y + high / 2 };
      }
      function free(kept) {
        return function (offset) {
          var box = around(offset);
          return box.left >= 2 && box.top >= 2 && box.right <= size.x - 2 && box.bottom <= size.y - 2 && !kept.some(function (other) {
            return box.left < other.right && other.left < box.right && box.top < other.bottom && other.top < box.bottom;
          });
        };
      }
      item.text.classList.toggle("gone", !put);
      if (put) { item.text.style.transform = "translate(-50%, -50%) translate(" + (put[0] + by[0]) + "px, " + (put[1] + by[1]) + "px)"; }
    });
  }

  /* The right edge holds north arrow and buttons, the foot the scale bar: a way is kept clear of them. */
  function fit(bounds, most) {
    var b = bounds.map(function (value) { return value / 100; });
    map.fitBounds([[b[1], b[0]], [b[3], b[2]]], { paddingTopLeft: [30, 30], paddingBottomRight: [66, 44], maxZoom: most, animate: false });
    var c = data.bounds.map(function (value) { return value / 100; }), rim = 70 / map.getZoomScale(map.getZoom(), 0);
    map.panInsideBounds([[c[1] - rim, c[0] - rim], [c[3] + rim, c[2] + rim]], { animate: false });
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

  function show(index) {
    chosen.clearLayers();
    if (standing) { standing.remove(); standing = null; }
    ways = [];
    pins = pins.filter(function (pin) { return base.hasLayer(pin.marker); });
    data.moves.forEach(function (move, at) {
      if (at === index) { return; }
      move.shapes.forEach(function (shape) { if (shape[1].indexOf("way") === 0) { draw(shape, chosen, true); } });
    });
    unnamed = {};
    data.moves[index].unnamed.forEach(function (number) { unnamed[number] = true; });
    data.moves[index].shapes.forEach(function (shape) { draw(shape, chosen, false); });
    fit(data.moves[index].bounds, 5);
    tidy();
  }

  /* Moves the map to a place in site metres and says there what it is. */
  function point(east, north, words) {
    var at = [north - data.origin[1], east - data.origin[0]];
    map.setView(at, Math.max(map.getZoom(), 4), { animate: false });
    L.popup({ maxWidth: 260 }).setLatLng(at).setContent(card([words])).openOn(map);
  }

  map.getContainer().setAttribute("role", "group");
  map.getContainer().setAttribute("aria-label", "Map of the site");
  map.getContainer().setAttribute("aria-describedby", "map-words");
  furniture();
  fit(data.bounds, 4);
  data.base.forEach(function (shape, number) { draw(shape, base, false, number); });
  base.addTo(map);
  chosen.addTo(map);
  map.on("zoomend moveend", tidy);
  tidy();
  /* Stands the chosen move's machine on the map: its row is chainage, east and north in whole centimetres, bearing. */
  function stand(index, row) {
    var turn = row[3] * Math.PI / 180, c = Math.cos(turn), s = Math.sin(turn);
    var outline = data.moves[index].ring.map(function (point) {
      return [(row[2] + point[0] * c + point[1] * s) / 100, (row[1] + point[0] * s - point[1] * c) / 100];
    });
    if (standing) { standing.remove(); }
    standing = L.polygon(outline, { className: "s-standing", interactive: false, keyboard: false }).addTo(map);
    map.setView(standing.getBounds().getCenter(), Math.max(map.getZoom(), 3), { animate: false });
  }

  return { show: show, point: point, stand: stand, walk: function (index) { return data.moves[index].walk; }, words: function (index) { return data.moves[index].words; } };
}());
