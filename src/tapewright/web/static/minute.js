// Leads through a guided minute: big words, a countdown, the sound to the bench block by block, marks on the sound's own clock.
"use strict";
{
  const place = document.getElementById("minute");
  const of = (name) => document.getElementById(`minute-${name}`);
  const [before, now, ready, film, start] = ["before", "now", "ready", "film", "start"].map(of);
  const [where, says, count, cautions, next, failed, pause, abort, after, view, status] =
    ["where", "says", "count", "cautions", "next", "failed", "pause", "abort", "after", "view", "status"].map(of);
  const intro = of("intro");
  const WARNED_S = 3; // the next key is named so long before it is due
  let running = null;

  function line(text) {
    const item = document.createElement("li");
    item.append(Object.assign(document.createElement("b"), { textContent: "Caution:" }), ` ${text}`);
    return item;
  }
  const steps = place ? JSON.parse(place.dataset.steps) : [];

  async function begin() {
    if (!ready.checked) return;
    if (!navigator.mediaDevices) {
      status.textContent = "This browser gives no sound to this page: it must be opened at 127.0.0.1, localhost, or by https. Record with a telephone instead, and put the file in below.";
      return;
    }
    start.disabled = true;
    status.textContent = "Asking for the microphone";
    const mine = { at: -1, left: 0, waiting: false, held: false, number: 0, lost: 0, frames: 0, socket: null, chunks: [], early: [] };
    try {
      const off = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
      mine.stream = await navigator.mediaDevices.getUserMedia({ audio: { ...off, channelCount: { ideal: 1 } } });
      if (film.checked) mine.camera = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" }, frameRate: { ideal: 60 } } });
    } catch (error) {
      for (const track of mine.stream?.getTracks() ?? []) track.stop();
      start.disabled = !ready.checked;
      status.textContent = error.name === "NotAllowedError" ? "The browser was told not to give microphone or camera to this page. Allow it in the address bar, and try again."
        : error.name === "NotFoundError" ? "There is no microphone, or no camera, that the browser knows." : `They could not be opened (${error.name}).`;
      return;
    }
    const settings = mine.stream.getAudioTracks()[0].getSettings();
    mine.altered = Object.entries({ echoCancellation: "echo cancelling is on", noiseSuppression: "noise suppression is on", autoGainControl: "automatic gain is on" })
      .filter(([one]) => [true, "all", "remote-only"].includes(settings[one])).map(([, said]) => said);
    mine.context = new AudioContext(settings.sampleRate ? { sampleRate: settings.sampleRate } : {});
    await mine.context.audioWorklet.addModule("/static/live-block.js");
    const blocks = new AudioWorkletNode(mine.context, "blocks", { numberOfOutputs: 0, channelCountMode: "max" });
    mine.context.createMediaStreamSource(mine.stream).connect(blocks);
    blocks.port.onmessage = ({ data }) => block(mine, data);
    mine.wake = await navigator.wakeLock?.request("screen").catch(() => null);
    running = mine;
  }

  function open(mine, channels) {
    const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${place.dataset.live}`;
    const socket = mine.socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    mine.channels = channels;
    socket.onopen = () => {
      socket.send(JSON.stringify({ rate_hz: mine.context.sampleRate, channels, altered: mine.altered }));
      if (mine.camera) filming(mine);
      before.hidden = intro.hidden = true;
      now.hidden = false;
      status.textContent = mine.altered.length ? `Recording, but the browser alters the sound: ${mine.altered.join(", ")}.` : "Recording, uncompressed, with gain control and noise suppression off.";
      enter(mine, 0);
    };
    socket.onmessage = (event) => kept(mine, JSON.parse(event.data));
    socket.onclose = (event) => { if (running === mine && !mine.over) ended(mine, event.reason || "The bench does not answer any more. What it had heard by then is kept."); };
  }

  function block(mine, data) {
    if (running !== mine) return;
    if (!mine.socket) open(mine, data.channels);
    if (mine.socket.readyState !== 1 || data.channels !== mine.channels || mine.over) return;
    const message = new ArrayBuffer(8 + data.samples.byteLength);
    const head = new DataView(message);
    head.setUint32(0, mine.number, true);
    head.setUint32(4, mine.number ? data.lost : 0, true);
    new Float32Array(message, 8).set(data.samples);
    mine.socket.send(message);
    mine.number += 1;
    // The sound's own clock, and when it was looked at: between two blocks the time runs on.
    mine.frames += data.samples.length / data.channels + (mine.number > 1 ? Math.min(data.lost, mine.context.sampleRate) : 0);
    mine.stood = performance.now();
    tick(mine);
  }

  const heard = (mine) => mine.frames / mine.context.sampleRate + (mine.stood ? Math.min(1, (performance.now() - mine.stood) / 1000) : 0);

  // A step that takes a person as long as it takes waits for the button; a key is counted down to.
  function enter(mine, number) {
    mine.at = number;
    const step = steps[number];
    mine.waiting = step.by_hand && number > 0;
    where.textContent = `Step ${number + 1} of ${steps.length}`;
    says.textContent = step.says;
    cautions.replaceChildren(...step.cautions.map(line));
    failed.disabled = number === 0;
    if (mine.waiting) {
      count.textContent = "";
      next.textContent = "Done: now";
      after.textContent = "Touch the button at the moment it happens.";
    } else {
      mark(mine);
    }
  }

  function mark(mine) {
    const step = steps[mine.at];
    const at_s = mine.frames === 0 ? 0 : heard(mine);
    mine.waiting = false;
    mine.socket.send(JSON.stringify({ mark: step.mode, at_s }));
    mine.early.push([step.mode, performance.now()]);
    mine.ends = at_s + step.lasts_s;
    next.textContent = "Go on early";
    const following = steps[mine.at + 1];
    after.textContent = following ? `Then: ${following.says}` : "Then it is done.";
    tick(mine);
  }

  function tick(mine) {
    if (mine.at < 0 || mine.waiting || mine.held || mine.over) return;
    const left = mine.ends - heard(mine);
    if (left <= 0) { forward(mine); return; }
    count.textContent = Math.ceil(left);
    const following = steps[mine.at + 1];
    if (following && !following.by_hand && left <= WARNED_S) {
      says.textContent = `In ${Math.ceil(left)}: ${following.says}`;
      cautions.replaceChildren(...following.cautions.map(line)); // before the hand goes there
    }
  }

  function forward(mine) {
    if (mine.at + 1 < steps.length) enter(mine, mine.at + 1);
    else finish(mine, { done: true });
  }

  function finish(mine, word) {
    mine.over = true;
    mine.socket.send(JSON.stringify(word));
    status.textContent = word.done ? "Keeping it in the job" : "Broken off: nothing was kept.";
    if (!word.done) ended(mine, status.textContent);
  }

  function filming(mine) {
    if (!window.MediaRecorder) return;
    view.srcObject = mine.camera;
    view.hidden = false;
    view.play().catch(() => {});
    const kind = ["video/webm;codecs=vp9", "video/webm", "video/mp4"].find((one) => MediaRecorder.isTypeSupported(one));
    mine.recorder = new MediaRecorder(mine.camera, { ...(kind && { mimeType: kind }), videoBitsPerSecond: 8_000_000 });
    mine.recorder.ondataavailable = (event) => event.data.size && mine.chunks.push(event.data);
    mine.recorder.onstart = () => { mine.filmed = performance.now(); };
    mine.recorder.start(1000);
  }

  async function kept(mine, told) {
    if (told.problem) { ended(mine, told.problem); return; }
    status.textContent = `Kept in the job: ${told.kept}`;
    const wrong = await sendFilm(mine, told.kept);
    if (wrong) { ended(mine, `The sound is kept in the job. The film is not: ${wrong}`); return; }
    ended(mine, status.textContent);
    location.assign(`${location.pathname}#kept`);
    location.reload();
  }

  async function sendFilm(mine, called) {
    if (!mine.recorder || mine.recorder.state === "inactive") return "";
    await new Promise((done) => { mine.recorder.onstop = done; mine.recorder.stop(); });
    const blob = new Blob(mine.chunks, { type: mine.recorder.mimeType });
    const marks = mine.early.map(([mode, at]) => `${mode}:${Math.max(0, (at - mine.filmed) / 1000).toFixed(2)}`).join(",");
    const name = called.replace(/\.wav$/, blob.type.includes("mp4") ? ".mp4" : ".webm");
    status.textContent = "Sending the film";
    try {
      const answer = await fetch(`${place.dataset.takes}?${new URLSearchParams({ kind: "film", name, marks })}`, { method: "PUT", body: blob, headers: { "content-type": "application/octet-stream" } });
      if (answer.status === 201) return "";
      return (await answer.json()).problems.map((one) => `${one.where} ${one.found} ${one.do}`).join(" ");
    } catch {
      return "the bench did not answer.";
    }
  }

  function ended(mine, said) {
    mine.over = true;
    running = null;
    for (const stream of [mine.stream, mine.camera]) for (const track of stream?.getTracks() ?? []) track.stop();
    if (mine.recorder && mine.recorder.state !== "inactive") mine.recorder.stop();
    mine.context.close();
    mine.wake?.release();
    if (mine.socket && mine.socket.readyState < 2) mine.socket.close();
    before.hidden = intro.hidden = false;
    now.hidden = view.hidden = true;
    start.disabled = !ready.checked;
    status.textContent = said;
  }

  if (place) {
    const allowed = () => { start.disabled = !ready.checked || running !== null; };
    ready.addEventListener("change", allowed);
    // The page's other script gives buttons back when a page is shown again; this one is given by the tick alone.
    window.addEventListener("pageshow", () => setTimeout(allowed));
    start.addEventListener("click", begin);
    next.addEventListener("click", () => (running.waiting ? mark(running) : forward(running)));
    failed.addEventListener("click", () => {
      if (running.waiting) mark(running);
      running.socket.send(JSON.stringify({ failed: true }));
      status.textContent = "Written down: it did not do it.";
      forward(running);
    });
    pause.addEventListener("click", () => {
      const mine = running;
      mine.held = !mine.held;
      if (mine.held) mine.rest = mine.ends - heard(mine);
      else if (!mine.waiting) mine.ends = heard(mine) + mine.rest;
      pause.setAttribute("aria-pressed", mine.held ? "true" : "false");
      pause.textContent = mine.held ? "Go on" : "Pause";
      status.textContent = mine.held ? "Held: the countdown waits, the sound is recorded all the same." : "Going on.";
    });
    abort.addEventListener("click", () => finish(running, { abort: true }));
    window.addEventListener("beforeunload", (event) => { if (running && !running.over) event.preventDefault(); });
  }
}
