// What the bench says of the sound that the browser gives it, drawn. The sound itself: live-input.js.
"use strict";
{
  const place = document.getElementById("live");
  const [start, hold, record, says, shown, chosen, tone] = ["live-start", "live-hold", "live-record", "live-says", "live-channels", "input", "live-tone"]
    .map((id) => document.getElementById(id));
  const SPOKEN = { speed_error_pct: "speed error, mean", weighted_peak_pct: "flutter, weighted peak", weighted_rms_pct: "flutter, weighted rms" };
  const SHAPES = { "pass": "●", "fail": "▲", "within doubt of the limit": "◆" };
  const WORDS = {
    "pass": (limit) => `within the limit of ${limit} %`, "fail": (limit) => `over the limit of ${limit} %`,
    "within doubt of the limit": (limit) => `too near the limit of ${limit} % to tell`,
  };
  const POINTS = 400; // ten seconds
  let running = null;

  const make = (name, text = "", more = {}) => Object.assign(document.createElement(name), { textContent: text }, more);
  // As many digits as the doubt is worth, and the same of both.
  const digitsOf = (doubt) => (doubt > 0 ? Math.min(6, Math.max(2, 1 - Math.floor(Math.log10(doubt)))) : 3);
  const signed = (value, digits) => (value > 0 ? "+" : "") + value.toFixed(digits);
  const pressed = (button, on) => button.setAttribute("aria-pressed", on ? "true" : "false");

  async function begin() {
    start.disabled = true;
    says.textContent = "Asking for the input";
    const asked = parseFloat(tone.value.replace(",", "."));
    const mine = { say: null, stop: null, held: false, curves: [], kept: false };
    try {
      mine.stop = await window.benchInput.openInput({
        chosen, address: place.dataset.live, more: { tone_hz: asked > 0 ? asked : null },
        heard: (told) => hear(mine, told), ended: (said) => end(mine, said),
        opened: ({ channels, rate, altered, say }) => {
          mine.say = say;
          hold.disabled = record.disabled = false;
          says.textContent = `Listening: ${channels} ${channels === 1 ? "channel" : "channels"} at ${rate} Hz; gain control, noise suppression and echo cancelling ${altered.length ? "NOT all off" : "are off"}.`;
        },
      });
      running = mine;
      start.textContent = "Stop";
      pressed(start, true);
    } catch (error) {
      says.textContent = error.message;
    }
    start.disabled = false;
  }

  function end(was, said) {
    running = null;
    start.textContent = "Listen";
    start.disabled = false;
    hold.disabled = record.disabled = true;
    for (const one of [start, hold, record]) pressed(one, false);
    record.textContent = "Record";
    says.textContent = said;
    for (const card of shown.children) card.classList.add("stale");
    if (was.kept) location.reload();
  }

  function hear(mine, told) {
    if (told.problem) says.textContent = told.problem;
    if (told.kept) { mine.kept = true; says.textContent = `Kept in the job: ${told.kept}. It is measured once you stop listening.`; }
    if (told.recording !== undefined) {
      pressed(record, told.recording);
      record.textContent = told.recording ? "Stop recording" : "Record";
    }
    for (const moment of told.moments ?? []) {
      const curve = mine.curves[moment.channel - 1] ??= [];
      curve.push(...moment.curve_pct);
      curve.splice(0, Math.max(0, curve.length - POINTS));
      if (!mine.held) draw(cardOf(moment.channel), moment, curve);
    }
  }

  function cardOf(channel) {
    let card = shown.querySelector(`[data-channel="${channel}"]`);
    if (card) return card;
    card = make("article", "", { className: "live-channel" });
    card.dataset.channel = channel;
    card.append(make("h3", `Channel ${channel}`), make("p", "", { className: "digits" }), make("p", "", { className: "muted why" }),
      make("p", "", { className: "muted reach" }), make("canvas", "", { ariaHidden: "true" }), make("ul", "", { className: "live-readings" }), make("ul", "", { className: "notes remarks" }));
    shown.append(card);
    return card;
  }

  function draw(card, moment, curve) {
    card.classList.remove("stale");
    const now = moment.now.value;
    card.querySelector(".digits").textContent = now === null ? "– – –" : `${signed(now, 2)} %`;
    card.querySelector(".why").textContent = now === null ? moment.now.why_not : `speed now, over half a second${moment.level_db === null ? "" : `; tone ${moment.level_db.toFixed(1)} dB under full scale`.replace("-", "")}`;
    const rows = Object.entries(moment.readings).map(([name, one]) => {
      const verdict = moment.verdicts[name];
      const row = make("li");
      row.append(make("span", SPOKEN[name]), make("b", one.value === null ? one.why_not : said(name, one)));
      if (verdict) row.append(make("span", `${SHAPES[verdict.verdict]} ${WORDS[verdict.verdict](verdict.limit)}`, { className: `limit ${verdict.verdict === "pass" ? "" : "over"}` }));
      return row;
    });
    card.querySelector(".live-readings").replaceChildren(...rows);
    card.querySelector(".remarks").replaceChildren(...moment.remarks.map((one) => make("li", one)));
    trace(card.querySelector("canvas"), card.querySelector(".reach"), curve, moment.verdicts.speed_error_pct?.limit);
  }

  function said(name, reading) {
    const digits = digitsOf(reading.doubt);
    return `${name === "speed_error_pct" ? signed(reading.value, digits) : reading.value.toFixed(digits)} ± ${reading.doubt.toFixed(digits)} %`;
  }

  // The curve fills the frame, so that flutter shows beside a speed that is off; zero and limits are drawn where they lie in it.
  function trace(canvas, says, curve, limit) {
    const style = getComputedStyle(document.documentElement);
    const [ink, muted, suspect] = ["--show-ink", "--show-muted", "--show-suspect"].map((name) => style.getPropertyValue(name));
    const sharp = devicePixelRatio || 1;
    const [wide, tall] = [canvas.clientWidth * sharp, canvas.clientHeight * sharp].map(Math.round);
    if (canvas.width !== wide || canvas.height !== tall) [canvas.width, canvas.height] = [wide, tall];
    const pen = canvas.getContext("2d");
    const values = curve.filter((one) => one !== null);
    pen.clearRect(0, 0, wide, tall);
    if (!values.length) {
      says.textContent = "";
      return;
    }
    const [low, high] = [Math.min(...values), Math.max(...values)];
    const half = Math.max(0.1, 0.6 * (high - low));
    const bottom = (low + high) / 2 - half;
    const y = (value) => tall - (value - bottom) / (2 * half) * tall;
    says.textContent = `The last ten seconds, drawn from ${signed(bottom, 2)} to ${signed(bottom + 2 * half, 2)} %`;
    const line = (value, colour, dashes) => {
      pen.beginPath(); pen.setLineDash(dashes.map((one) => one * sharp)); pen.strokeStyle = colour; pen.lineWidth = 1.2 * sharp;
      pen.moveTo(0, y(value)); pen.lineTo(wide, y(value)); pen.stroke(); pen.setLineDash([]);
    };
    line(0, muted, []);
    if (limit) for (const sign of [-1, 1]) line(sign * limit, suspect, [7, 5]);
    pen.beginPath(); pen.strokeStyle = ink; pen.lineWidth = 1.6 * sharp;
    let drawing = false;
    curve.forEach((one, at) => {
      if (one === null) { drawing = false; return; }
      const x = (POINTS - curve.length + at) / POINTS * wide;
      if (drawing) pen.lineTo(x, y(one)); else pen.moveTo(x, y(one));
      drawing = true;
    });
    pen.stroke();
  }

  start.addEventListener("click", () => (running ? running.stop("Stopped.") : begin()));
  hold.addEventListener("click", () => { running.held = !running.held; pressed(hold, running.held); hold.textContent = running.held ? "Go on" : "Hold"; });
  record.addEventListener("click", () => running.say({ record: record.getAttribute("aria-pressed") !== "true" }));
  window.benchInput.listInputs(chosen);
}
