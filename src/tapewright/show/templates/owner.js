"use strict";
(() => {
  const sheet = JSON.parse(document.getElementById("sheet").textContent);
  const place = document.getElementById("place");
  const KEPT = "owner-sheet-" + sheet.fingerprint;
  const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  // Where the owner stands: whether the tape was spoken of, the complaint, and the answers after it.
  let way = { tape: null, complaint: null, answers: [] };
  try { way = JSON.parse(sessionStorage.getItem(KEPT)) || way; } catch (_) { /* a phone that keeps nothing */ }

  const make = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text || "" }, more);
  const add = (parent, ...children) => { parent.append(...children.filter(Boolean)); return parent; };
  const button = (text, act, kind = "") => make("button", text, { type: "button", className: kind, onclick: () => { act(); keep(); } });
  const cautions = (said) => said.length && add(make("ul", "", { className: "cautions" }),
    ...said.map((one) => add(make("li"), make("b", "Caution: "), one)));

  function keep() {
    try { sessionStorage.setItem(KEPT, JSON.stringify(way)); } catch (_) { /* the way is then lost on reloading */ }
    show();
    place.querySelector("h2").focus();
  }
  const heading = (text) => make("h2", text, { tabIndex: -1 });
  const back = () => button("Back", () => {
    if (way.answers.length) way.answers.pop();
    else if (way.complaint !== null) way.complaint = null;
    else way.tape = null;
  }, "quiet");

  function show() {
    place.replaceChildren();
    mark("");
    if (way.tape === null) return askTape();
    if (way.tape === "held") return tellRescue();
    if (way.complaint === null) return askComplaint();
    const step = stepNow();
    return step.s === undefined ? tellVerdict(step) : askSign(step);
  }
  function stepNow() {
    return way.answers.reduce((step, said) => step[said.answer], sheet.complaints[way.complaint].step);
  }
  function askTape() {
    add(place, heading("First of all: is a cassette inside that does not come out, or tape drawn out of it?"),
      make("p", "Do not press anything once more to see. Do not pull."),
      add(make("div", "", { className: "answers" }),
        button("Yes, it is held", () => { way.tape = "held"; }), button("No", () => { way.tape = "free"; })));
  }
  function tellRescue() {
    add(place, heading("Get the tape out unharmed, or leave it in"), cautions(sheet.rescue_cautions), make("p", sheet.rescue),
      make("p", "If that does not go gently from outside, leave the cassette where it is, switch off, and send the machine as it is: a bench gets it out."),
      add(make("div", "", { className: "answers" }),
        button("It is out now, or stays in", () => { way.tape = "free"; }), back()));
  }
  function askComplaint() {
    add(place, heading("What does the machine do?"), make("p", "Choose what comes nearest."));
    let list = null, mode = "";
    sheet.complaints.forEach((one, number) => {
      const sign = sheet.signs[one.sign];
      if (sign.mode !== mode || !list) {
        mode = sign.mode;
        list = make("ul", "", { className: "choices" });
        add(place, make("h3", sheet.modes[mode]), list);
      }
      add(list, add(make("li"), button(sign.says, () => { way.complaint = number; })));
    });
    add(place, back());
  }
  function askSign(step) {
    const sign = sheet.signs[step.s];
    const number = way.answers.length + 1;
    const say = (answer) => () => way.answers.push({ sign: step.s, answer });
    mark(sign.part);
    add(place, make("p", "Question " + number, { className: "muted" }), heading(sign.says + "?"), cautions(sign.cautions),
      make("p", sign.how),
      add(make("div", "", { className: "answers" }), button("Yes", say("yes")), button("No", say("no")), button("Can't tell", say("unsure"), "quiet")),
      back());
  }
  function mark(part) {
    const figure = document.getElementById("mechanism");
    figure.hidden = true;
    for (const one of figure.querySelectorAll("[data-part]")) {
      const here = one.dataset.part === part;
      one.classList.toggle("asked", here);
      if (here) figure.hidden = false;
    }
  }

  const SAYS = {
    cassette: ["It is the cassette", "Another cassette should run well. The machine need not go anywhere for this; a shop can put the tape into a new shell."],
    clean: ["Cleaning may well do", "Try this, then ask the same questions again."],
    send: ["Worth sending to a bench", "It needs opening. Leave the case shut: springs and washers fly, and parts near the mains can stay live."],
    unclear: ["A bench should look at it", "From outside it cannot be told apart. Send the code with a description in your own words."],
  };
  function tellVerdict(step) {
    const verdict = sheet.verdicts[step.v];
    const [title, says] = SAYS[verdict.kind];
    if (verdict.stop) add(place, add(make("p", "", { className: "stop" }), make("b", "Stop playing your own tapes in it. "),
      "It may draw tape out or crease it. Try it with a cassette you can spare only."));
    add(place, heading(title), make("p", says));
    if (verdict.suspects.length) add(place, make("p", "Most likely: " + verdict.suspects.map((one) => one[0] + " (about " + Math.round(100 * one[1]) + " %)").join(", ") + "."));
    if (verdict.work.length) add(place, cautions(verdict.cautions), add(make("ol"), ...verdict.work.map((one) => make("li", one))));
    if (verdict.kind === "send") add(place, worth(verdict));
    if (verdict.kind === "send" || verdict.kind === "unclear") add(place, document.getElementById("packing").content.cloneNode(true));
    const code = codeOf();
    const shown = make("output", code, { className: "code" });
    add(place, make("h3", "Your answers as a code"), shown,
      make("p", "Send it to your workshop, or read it out. It holds your answers and nothing about you."),
      add(make("div", "", { className: "answers" }),
        navigator.clipboard && window.isSecureContext ? button("Copy the code", () => { navigator.clipboard.writeText(code); }, "quiet") : null,
        button("Begin again", () => { way = { tape: null, complaint: null, answers: [] }; }, "quiet"), back()));
  }
  function worth(verdict) {
    const box = make("div", "", { className: "card" });
    const low = verdict.cost_low, high = verdict.cost_high;
    const parts = high > 0 ? "parts for " + (low === high ? low : low + " to " + high) : "no parts to buy";
    const field = make("input", "", { type: "number", min: 0, inputMode: "decimal", id: "worth", value: way.worth || "" });
    const answer = make("p", "", { role: "status" });
    const judge = () => {
      way.worth = field.value;
      try { sessionStorage.setItem(KEPT, JSON.stringify(way)); } catch (_) { /* not kept then */ }
      const most = parseFloat(field.value);
      answer.textContent = !(most >= 0) ? "" : most < low ? "Then it is not worth it: the parts alone may come to more."
        : most < high ? "It may be worth it. Agree a limit with the workshop before it begins." : "Then it looks worth it, as far as parts go. Ask what the work costs.";
    };
    field.oninput = judge;
    judge();
    return add(box, make("p", "Usual for this: " + parts + " (rough, in units of your money near the euro or dollar), about " + Math.round(verdict.minutes) + " minutes at the bench, postage both ways."),
      make("label", "What is it worth to you that it runs again?", { htmlFor: "worth" }), field, answer);
  }

  // The same bits as the bench reads: version 4, fingerprint 16, count 5, then 8 + 2 for each answer, and 10 to check.
  function codeOf() {
    const bits = (value, width) => value.toString(2).padStart(width, "0");
    const marks = { yes: 1, no: 2, unsure: 3 };
    const said = [{ sign: sheet.complaints[way.complaint].sign, answer: "yes" }, ...way.answers];
    let all = bits(1, 4) + bits(sheet.fingerprint, 16) + bits(said.length, 5);
    for (const one of said) all += bits(one.sign, 8) + bits(marks[one.answer], 2);
    all += bits(crc32(all) & 1023, 10);
    all = all.padEnd(Math.ceil(all.length / 5) * 5, "0");
    return all.match(/.{5}/g).map((five) => ALPHABET[parseInt(five, 2)]).join("").match(/.{1,4}/g).join(" ");
  }
  function crc32(text) {
    let crc = ~0;
    for (const letter of text) {
      crc ^= letter.charCodeAt(0);
      for (let k = 0; k < 8; k += 1) crc = (crc >>> 1) ^ (crc & 1 ? 0xEDB88320 : 0);
    }
    return ~crc >>> 0;
  }

  // A tone for those who are asked for a recording.
  const tone = document.getElementById("tone");
  let sounding = null;
  tone.onclick = () => {
    if (sounding) { sounding.close(); sounding = null; tone.textContent = "Play the tone"; return; }
    sounding = new AudioContext();
    const source = new OscillatorNode(sounding, { frequency: 3150 });
    const gain = new GainNode(sounding, { gain: 0.3 });
    source.connect(gain).connect(sounding.destination);
    source.start();
    tone.textContent = "Stop the tone";
  };
  show();
})();
