/* Puts a row of the long section into the picture of the machine from its side; all numbers are whole centimetres. */
window.sideView = (function () {
  "use strict";
  var svgns = "http://www.w3.org/2000/svg", rim = 24, paper = [735, 218];

  function child(group, kind, attributes, text) {
    var made = document.createElementNS(svgns, kind);
    Object.keys(attributes).forEach(function (name) { made.setAttribute(name, attributes[name]); });
    if (text !== undefined) { made.textContent = text; }
    group.appendChild(made);
  }

  /* Levels by their steps from the last known one; runs of neighbours that are both known are ground, others hatched. */
  function ground(side, steps) {
    var level = 0, levels = steps.map(function (step) { return step === null ? null : (level += step); });
    var paths = { known: "", unknown: "" }, bottom = -side.low, n = 0;
    function x(sample) { return side.from + side.step * sample; }
    function known(sample) { return levels[sample] !== null && levels[sample + 1] !== null; }
    while (n + 1 < levels.length) {
      var first = n, now = known(n), line = "";
      while (n + 1 < levels.length && known(n) === now) { n += 1; }
      if (now) {
        for (var at = first; at <= n; at += 1) { line += "L" + x(at) + " " + -levels[at]; }
        paths.known += "M" + x(first) + " " + bottom + line + "L" + x(n) + " " + bottom + "Z";
      } else {
        paths.unknown += "M" + x(first) + " " + bottom + "V0H" + x(n) + "V" + bottom + "Z";
      }
    }
    return paths;
  }

  return function (figure, side) {
    var svg = figure.querySelector("svg"), hatch = svg.querySelector(".unknown").getAttribute("fill");
    function group(name) {
      var found = svg.querySelector("." + name);
      found.textContent = "";
      return found;
    }

    /* Letters keep their size however small the picture is. */
    function fit(wide, high) {
      var box = svg.viewBox.baseVal, scale = Math.min(wide / box.width, high / box.height);
      if (scale) { svg.setAttribute("font-size", (Number(svg.dataset.letters) / scale).toFixed(1)); }
    }
    function letters() { fit(svg.getBoundingClientRect().width, svg.getBoundingClientRect().height); }

    function draw(row, where) {
      var paths = ground(side, row[0]), spare = row[4];
      var words = row[6].map(function (number) { return side.words[number]; }).join(" ");
      svg.querySelector(".ground").setAttribute("d", paths.known);
      svg.querySelector(".unknown").setAttribute("d", paths.unknown);
      var over = group("over"), below = group("below"), marks = group("letters"), gap = group("spare");
      row[1].forEach(function (one) {
        var above = one[0] === "kept-out" ? "V-2000H" + one[1] : "V" + (-one[4] - rim) + "L" + one[1] + " " + (-one[3] - rim);
        child(over, "path", { "class": one[0], d: "M" + one[1] + " " + -one[3] + "L" + one[2] + " " + -one[4] + above + "Z" });
      });
      row[2].forEach(function (one) {
        var look = { "class": one[0], d: "M" + one[1] + " " + -one[3] + "V" + -one[4] + "H" + one[2] + "V" + -one[3] };
        if (one[0].indexOf("deep-unknown") === 0) { look.fill = hatch; }
        child(below, "path", look);
      });
      if (spare && spare[2] > spare[1]) {
        child(gap, "path", { "class": "arrow", d: "M" + (spare[0] - 12) + " " + -spare[1] + "h24M" + (spare[0] - 12) + " " + -spare[2] + "h24M" + spare[0] + " " + -spare[1] + "V" + -spare[2] });
      }
      row[3].forEach(function (one) {
        var look = { "class": one[5], x: one[1], y: one[2], dy: one[4] + "em" };
        if (one[3]) { look["text-anchor"] = "end"; }
        child(marks, "text", look, one[0]);
      });
      Array.prototype.forEach.call(svg.querySelectorAll(".rig"), function (rig) {
        if (Number(rig.dataset.rig) === row[7]) { rig.removeAttribute("display"); } else { rig.setAttribute("display", "none"); }
      });
      svg.querySelector(".lean").setAttribute("transform", "rotate(" + -row[8] + " " + side.middle + " 0)");
      svg.querySelector("desc").textContent = words;
      figure.querySelector(".gap b").textContent = side.words[row[5]];
      figure.querySelector(".where").textContent = where;
      figure.querySelector(".side-words").textContent = words;
    }

    new ResizeObserver(letters).observe(svg);
    window.addEventListener("beforeprint", function () { fit(paper[0], paper[1]); });
    window.addEventListener("afterprint", letters);
    return function (number, where) { draw(side.rows[number], where); };
  };
}());
