/* Compares readings with the stop numbers, and saves them as a file. What it cannot judge it tells people to ask about. */
(function () {
  "use strict";
  var list = JSON.parse(document.getElementById("list").textContent);
  var words = list.words || {};
  var moves = [];
  list.rows.forEach(function (row) { if (moves.indexOf(row.move) < 0) { moves.push(row.move); } });

  function box(letter, index) { return document.getElementById(letter + (index + 1)); }
  function typed(index) { return box("r", index).value.trim(); }

  /* A dot or a comma before the decimals, and nothing else: "1,234" could be a thousand, so three are too many in mm. */
  function number(row, text) {
    if (!/^[+-]?\d{1,5}([.,]\d{1,3})?$/.test(text)) { return NaN; }
    if (row.unit === "mm" && /[.,]\d{2}/.test(text)) { return NaN; }
    return Number(text.replace(",", "."));
  }

  /* Half of the last digit that people read. */
  function near(row) { return row.unit === "mm" ? 0.5 : 0.0005; }
  function differs(row, value) { return Math.abs(value - row.recorded) > near(row) + 1e-9; }

  function filled(text, slots) {
    return text.replace(/\{([nx]\d?)\}/g, function (whole, slot) { return slots[slot] === undefined ? whole : slots[slot]; });
  }

  /* What is said, in English for the file that is saved and as it is shown; "stop" and "ask" come with their lead. */
  function saying(level, text, slots) {
    var lead = { stop: "STOP: {x}", ask: "LOOK AND ASK: {x}" }[level] || "{x}";
    var english = filled(text, slots || {}), shown = filled(words[text] || text, slots || {});
    return { level: level, english: filled(lead, { x: english }), shown: filled(words[lead] || lead, { x: shown }) };
  }
  var NOTHING = { level: "", english: "", shown: "" };

  function says(row, text) {
    if (!row.figure || text === "") { return NOTHING; }
    var value = number(row, text), step = row.unit === "mm" ? 1000 : 1;
    if (isNaN(value)) { return saying("ask", "not a number of {x}.", { x: row.unit }); }
    if (row.last_good === null) { return saying("ask", "there is no number."); }
    if (row.overhead ? value < row.last_good : value > row.last_good) {
      return saying("stop", "beyond {n} {x}. The machine does not move.", { n: row.last_good.toFixed(row.unit === "mm" ? 0 : 3), x: row.unit });
    }
    if (!differs(row, value)) { return saying("", "As recorded."); }
    if (Math.abs(value - row.recorded) > step) { return saying("ask", "more than a metre from what is recorded. Is the unit right?"); }
    if (!row.overhead && value < row.recorded) { return saying("ask", "less than recorded, and the number does not tell of that."); }
    return saying("", "Not as recorded, short of the number.");
  }

  function sum(move) {
    var rows = list.rows.map(function (row, index) { return { row: row, text: typed(index) }; })
      .filter(function (one) { return one.row.move === move; });
    var said = rows.map(function (one) { return says(one.row, one.text).level; });
    var changed = rows.filter(function (one) {
      return one.row.figure && one.text !== "" && differs(one.row, number(one.row, one.text));
    }).length;
    var empty = rows.filter(function (one) { return one.text === ""; }).length;
    if (said.indexOf("stop") >= 0) { return saying("stop", "a reading is beyond its number. The machine does not move."); }
    if (changed > 1) { return saying("ask", "{n} readings are not as recorded. Each number holds only while all else is.", { n: changed }); }
    if (said.indexOf("ask") >= 0) { return saying("ask", "a reading cannot be judged by its number."); }
    if (empty) { return saying("", "{n} of {n1} boxes are empty: not inspected yet.", { n: empty, n1: rows.length }); }
    return saying("", "Every box is filled, and no reading stops the move. A competent person decides.");
  }

  function mark(element, said) {
    element.textContent = said.shown;
    element.className = element.className.replace(/ ?(is-stop|is-ask)/g, "") + (said.level ? " is-" + said.level : "");
  }

  function show() {
    list.rows.forEach(function (row, index) { mark(box("s", index), says(row, typed(index))); });
    moves.forEach(function (move, index) { mark(document.getElementById("sum-" + (index + 1)), sum(move)); });
  }

  function two(count) { return (count < 10 ? "0" : "") + count; }
  function stamp(event) {
    var found = /^r(\d+)$/.exec(event.target.id);
    if (!found) { return; }
    var time = document.getElementById("t" + found[1]), now = new Date();
    if (!time.value && event.target.value.trim()) { time.value = two(now.getHours()) + ":" + two(now.getMinutes()); }
  }

  function saved() {
    return JSON.stringify({
      kind: "route inspection readings", plan: list.plan, saved: new Date().toISOString(), cautions: list.cautions,
      moves: moves.map(function (move) { return { move: move, says: sum(move).english }; }),
      readings: list.rows.map(function (row, index) {
        var kept = {};
        Object.keys(row).forEach(function (key) { kept[key] = row[key]; });
        kept.reading = typed(index);
        kept.says = says(row, typed(index)).english;
        kept.time = box("t", index).value.trim();
        kept.initials = box("i", index).value.trim();
        return kept;
      })
    }, null, 1) + "\n";
  }

  document.addEventListener("input", show);
  document.addEventListener("change", stamp);
  document.getElementById("save").addEventListener("click", function (event) {
    var address = URL.createObjectURL(new Blob([saved()], { type: "application/json" }));
    event.currentTarget.href = address;
    window.setTimeout(function () { URL.revokeObjectURL(address); }, 60000);
  });
  show();
}());
