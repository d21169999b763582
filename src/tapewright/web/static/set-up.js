// One step of setting up, followed live: the number, how it stands by shape and word, and a scale with its target and limits.
"use strict";
{
  const place = document.getElementById("set-up-live");
  const of = (name) => document.getElementById(`live-${name}`);
  const [start, keep, says, shown, digits, stands, why, trend, canvas, ends, lines, remarks, tracks] =
    ["start", "keep", "says", "shown", "digits", "stands", "why", "trend", "scale", "ends", "lines", "remarks", "tracks"].map(of);
  const [chosen, value, doubt] = ["input", "value", "doubt"].map((id) => document.getElementById(id));
  const SHAPES = { "stop": "● Stop", "inside": "● Inside", "too near to tell": "◆ Too near to tell", "go on": "▲ Go on", "not read": "– Not read" };
  const SHORT = { "minutes of arc": "′" };
  const POINTS = 100; // twenty seconds
  const [target, tolerance, enough] = ["target", "tolerance", "enough"].map((one) => parseFloat(place.dataset[one]));
  const unit = place.dataset.unit;
  let [stop, say, course] = [null, null, []];

  const make = (name, text) => Object.assign(document.createElement(name), { textContent: text });
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

  async function begin() {
    start.disabled = true;
    says.textContent = "Asking for the input";
    course = [];
    const asked = tracks.value.split(",").map(Number);
    try {
      stop = await window.benchInput.openInput({
        chosen, address: place.dataset.live, more: { tracks: asked }, heard, ended,
        opened: (input) => {
          say = input.say;
          if (keep) keep.disabled = false;
          const read = asked.slice(0, input.channels);
          const lacking = asked.slice(input.channels);
          says.textContent = `Listening at ${input.rate} Hz: channel ${read.map((track, at) => `${at + 1} is track ${track}`).join(", channel ")}.`
            + (lacking.length ? ` The input has ${input.channels} ${input.channels === 1 ? "channel" : "channels"}, so track ${lacking.join(", ")} is not read: choose another pair, or put in a capture of all.` : "")
            + (input.altered.length ? ` The browser alters the sound: ${input.altered.join(", ")}.` : "");
        },
      });
      start.textContent = "Stop";
      start.setAttribute("aria-pressed", "true");
    } catch (error) {
      says.textContent = error.message;
    }
    start.disabled = false;
  }

  function ended(said) {
    [stop, say] = [null, null];
    start.textContent = "Listen";
    start.setAttribute("aria-pressed", "false");
    start.disabled = false;
    if (keep) keep.disabled = true;
    says.textContent = said;
    shown.classList.add("stale");
  }

  function heard(told) {
    if (told.kept !== undefined) says.textContent = told.kept ? "Kept as the reference." : "No tone has stood for long enough to be kept: wait a second, and try again.";
    for (const moment of told.moments ?? []) draw(moment);
  }

  function draw(moment) {
    shown.hidden = false;
    shown.classList.remove("stale");
    const read = moment.reading.value;
    const open = moment.reading.doubt ?? 0;
    course.push(read === null ? null : [read, open]);
    course.splice(0, Math.max(0, course.length - POINTS));
    digits.classList.toggle("words", read === null);
    digits.textContent = read === null ? moment.said : `${read > 0 ? "+" : read < 0 ? "−" : ""}${Math.abs(read).toFixed(places(open))}${SHORT[unit] ?? ` ${unit}`}`;
    stands.textContent = SHAPES[moment.standing.word] ?? moment.standing.word;
    why.textContent = read === null ? "" : `${moment.said}. ${moment.standing.says}`;
    trend.textContent = moment.trend && `${capital(moment.trend)}.`;
    lines.replaceChildren(...moment.lines.map(([name, text]) => {
      const row = document.createElement("div");
      row.append(make("dt", capital(name)), make("dd", text));
      return row;
    }));
    remarks.replaceChildren(...moment.remarks.map((one) => make("li", one)));
    if (read !== null && value) {
      value.value = read.toFixed(places(open));
      doubt.value = Math.max(open, 0.01).toPrecision(2);
    }
    scale();
  }

  const places = (open) => (open > 0 ? Math.min(2, Math.max(1, -Math.floor(Math.log10(open)))) : 2);

  // The scale: the target is a thick line, the limits are dashed, what is near enough is dotted; a mark with its doubt
  // shows where it stands, and below it the last twenty seconds run down from the newest.
  function scale() {
    const style = getComputedStyle(document.documentElement);
    const [ink, muted, second] = ["--show-ink", "--show-muted", "--show-second"].map((name) => style.getPropertyValue(name));
    const sharp = devicePixelRatio || 1;
    const [wide, tall] = [canvas.clientWidth * sharp, canvas.clientHeight * sharp].map(Math.round);
    if (canvas.width !== wide || canvas.height !== tall) [canvas.width, canvas.height] = [wide, tall];
    const pen = canvas.getContext("2d");
    pen.clearRect(0, 0, wide, tall);
    const there = course.filter((one) => one);
    const middle = Number.isFinite(target) ? target : there.length ? there[there.length - 1][0] : 0;
    const most = Math.max(0, ...there.map(([read]) => Math.abs(read - middle)));
    let half = Number.isFinite(tolerance) ? 2 * tolerance : 1;
    while (half < 1.1 * most && half < 1e6) half *= 2;
    const x = (read) => wide * (0.5 + Math.max(-0.5, Math.min(0.5, (read - middle) / (2 * half))));
    const mark = (read, colour, width, dashes) => {
      pen.beginPath(); pen.setLineDash(dashes.map((one) => one * sharp)); pen.strokeStyle = colour; pen.lineWidth = width * sharp;
      pen.moveTo(x(read), 0); pen.lineTo(x(read), tall); pen.stroke(); pen.setLineDash([]);
    };
    if (Number.isFinite(target)) mark(target, ink, 3, []);
    for (const side of [-1, 1]) {
      if (Number.isFinite(tolerance)) mark(middle + side * tolerance, muted, 2, [8, 5]);
      if (Number.isFinite(enough) && enough < tolerance) mark(middle + side * enough, muted, 1.5, [2, 4]);
    }
    const top = 0.28 * tall;
    const last = course[course.length - 1];
    if (last) {
      const [read, open] = last;
      pen.strokeStyle = pen.fillStyle = second; pen.lineWidth = 3 * sharp;
      pen.beginPath(); pen.moveTo(x(read - open), top / 2); pen.lineTo(x(read + open), top / 2); pen.stroke();
      pen.beginPath(); pen.moveTo(x(read), top * 0.95); pen.lineTo(x(read) - 9 * sharp, top * 0.2); pen.lineTo(x(read) + 9 * sharp, top * 0.2); pen.closePath(); pen.fill();
    }
    pen.strokeStyle = second; pen.lineWidth = 2 * sharp; pen.beginPath();
    let drawing = false;
    [...course].reverse().forEach((one, at) => {
      if (!one) { drawing = false; return; }
      const y = top + (tall - top) * at / POINTS;
      if (drawing) pen.lineTo(x(one[0]), y); else pen.moveTo(x(one[0]), y);
      drawing = true;
    });
    pen.stroke();
    const end = (read) => String(Number(read.toPrecision(2))).replace("-", "−");
    ends.textContent = `From ${end(middle - half)} to ${end(middle + half)} ${unit}. ${Number.isFinite(target) ? "Thick line: the target" : ""}${Number.isFinite(tolerance) ? "; dashed: the limits" : ""}${Number.isFinite(enough) && enough < tolerance ? "; dotted: near enough" : ""}. The line below the mark: the last twenty seconds, the newest on top.`;
  }

  start.addEventListener("click", () => (stop ? stop("Stopped.") : begin()));
  keep?.addEventListener("click", () => say?.({ keep: true }));
  window.benchInput.listInputs(chosen);
}
