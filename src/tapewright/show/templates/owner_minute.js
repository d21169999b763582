// A guided minute on the owner's telephone: countdown and marks here; the sound by this page where it may, else by the
// telephone's own recorder.
(() => {
  const sheet = JSON.parse(document.getElementById("sheet").textContent);
  const place = document.getElementById("minute-place");
  const make = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text || "" }, more);
  const add = (parent, ...children) => { parent.append(...children.filter(Boolean)); return parent; };
  const button = (text, onclick, kind = "") => make("button", text, { type: "button", className: kind, onclick });
  const can = Boolean(window.isSecureContext && navigator.mediaDevices && window.MediaRecorder);
  const WARNED_S = 3;
  let run = null;

  function ask(said = "") {
    place.replaceChildren();
    add(place, said && make("p", said, { role: "status" }),
      make("p", can ? "This page can record the sound itself, if you allow it the microphone. The telephone's own recorder is as good."
        : "Your browser gives this page no microphone: it does so only over https. Use the telephone's own recorder on a second device, or begin it before the first step and come back to this page."),
      add(make("div", "", { className: "answers" }),
        can ? button("Record with this page", record) : null,
        button("My own recorder is running: begin", () => lead(null), can ? "quiet" : "")));
  }
  async function record() {
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
    } catch (_) {
      ask("The microphone was not given. Use the telephone's own recorder instead.");
      return;
    }
    const recorder = new MediaRecorder(stream, { audioBitsPerSecond: 256000 });
    const pieces = [];
    recorder.ondataavailable = (event) => event.data.size && pieces.push(event.data);
    recorder.onstart = () => lead({ recorder, pieces, stream });
    recorder.start(1000);
  }
  function lead(sound) {
    run = { sound, began: performance.now(), at: 0, marks: [], waiting: false };
    run.says = make("h3", "", { tabIndex: -1 });
    run.count = make("p", "", { className: "count", ariaHidden: "true" });
    run.cautions = make("ul", "", { className: "cautions" });
    run.next = button("", () => (run.waiting ? mark() : forward()));
    place.replaceChildren();
    add(place, add(make("div", "", { role: "status" }), run.says), run.count, run.cautions,
      add(make("div", "", { className: "answers" }), run.next,
        button("It did not do it", () => { if (run.waiting) mark(); run.marks[run.marks.length - 1][2] = true; forward(); }, "quiet"),
        button("Stop, go no further", () => finish(), "quiet")));
    run.timer = setInterval(tick, 100);
    enter();
  }
  const now = () => (performance.now() - run.began) / 1000;
  function enter() {
    const step = sheet.minute[run.at];
    run.says.textContent = step.says;
    run.cautions.replaceChildren(...step.cautions.map((one) => add(make("li"), make("b", "Caution: "), one)));
    run.waiting = step.by_hand && run.at > 0;
    run.next.textContent = run.waiting ? "Done: now" : "Go on early";
    run.count.textContent = "";
    if (!run.waiting) mark();
  }
  function mark() {
    run.waiting = false;
    run.next.textContent = "Go on early";
    run.marks.push([run.at, now(), false]);
    run.ends = now() + sheet.minute[run.at].lasts_s;
  }
  function tick() {
    if (run.waiting) return;
    const left = run.ends - now();
    const following = sheet.minute[run.at + 1];
    if (left <= 0) forward();
    else {
      run.count.textContent = Math.ceil(left);
      if (following && !following.by_hand && left <= WARNED_S) run.says.textContent = "In " + Math.ceil(left) + ": " + following.says;
    }
  }
  function forward() {
    run.at += 1;
    if (run.at < sheet.minute.length) enter();
    else finish();
  }
  async function finish() {
    clearInterval(run.timer);
    const { sound, marks } = run;
    place.replaceChildren();
    add(place, make("h3", "Done. When each step was, as a code"), make("output", codeOf(marks), { className: "code" }),
      make("p", "Send it to your workshop together with the recording. It holds the times of the steps and nothing about you."));
    if (sound) {
      await new Promise((done) => { sound.recorder.onstop = done; sound.recorder.stop(); });
      for (const track of sound.stream.getTracks()) track.stop();
      const kind = sound.recorder.mimeType;
      const name = "guided-minute." + (kind.includes("mp4") ? "m4a" : kind.includes("ogg") ? "ogg" : "webm");
      const link = make("a", "Keep the recording: " + name, { href: URL.createObjectURL(new Blob(sound.pieces, { type: kind })), download: name, className: "keep" });
      add(place, add(make("p"), link), make("p", "Then attach that file to your message. This page sends nothing by itself."));
    } else add(place, make("p", "Stop your recorder now, and attach its file to your message."));
    add(place, add(make("div", "", { className: "answers" }), button("Once more", () => ask(), "quiet")));
    run = null;
  }

  // The same bits as the bench reads: version 4, fingerprint 16, count 5, then 5 + 13 + 1 for each step, and 10 to check.
  function codeOf(marks) {
    const bits = (value, width) => value.toString(2).padStart(width, "0");
    let all = bits(2, 4) + bits(sheet.fingerprint, 16) + bits(marks.length, 5);
    for (const [step, at, failed] of marks) all += bits(step, 5) + bits(Math.min(8191, Math.max(0, Math.round(10 * at))), 13) + (failed ? "1" : "0");
    let crc = ~0;
    for (const letter of all) {
      crc ^= letter.charCodeAt(0);
      for (let k = 0; k < 8; k += 1) crc = (crc >>> 1) ^ (crc & 1 ? 0xEDB88320 : 0);
    }
    all += bits((~crc >>> 0) & 1023, 10);
    all = all.padEnd(Math.ceil(all.length / 5) * 5, "0");
    return all.match(/.{5}/g).map((five) => "0123456789ABCDEFGHJKMNPQRSTVWXYZ"[parseInt(five, 2)]).join("").match(/.{1,4}/g).join(" ");
  }
  ask();
})();
