// The browser's audio input, opened as it comes and sent over a socket block by block, nothing lost unseen.
"use strict";
{
  const ALTERED = { echoCancellation: "echo cancelling is on", noiseSuppression: "noise suppression is on", autoGainControl: "automatic gain is on" };
  const REFUSED = {
    NotAllowedError: "The browser was told not to give the input to this page. Allow it in the address bar, and try again.",
    NotFoundError: "This computer has no audio input that the browser knows.",
  };

  async function listInputs(chosen) {
    try {
      const inputs = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput" && one.label);
      const before = chosen.value;
      chosen.replaceChildren(new Option("the usual one", ""), ...inputs.map((one) => new Option(one.label, one.deviceId)));
      chosen.value = before;
    } catch { /* the usual one then */ }
  }

  // Gives what stops it. `more` is said in the first message beside what comes; `heard` gets each answer, `ended` why it ended.
  async function openInput({ chosen, address, more, opened, heard, ended }) {
    if (!navigator.mediaDevices) throw new Error("This browser gives no sound to this page: it must be opened at 127.0.0.1, localhost, or by https.");
    const off = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: { ...off, channelCount: { ideal: 8 }, ...(chosen.value && { deviceId: { exact: chosen.value } }) } });
    } catch (error) {
      throw new Error(REFUSED[error.name] ?? `The input could not be opened (${error.name}).`);
    }
    listInputs(chosen);
    const settings = stream.getAudioTracks()[0].getSettings();
    const altered = Object.keys(ALTERED).filter((one) => [true, "all", "remote-only"].includes(settings[one])).map((one) => ALTERED[one]);
    const context = new AudioContext(settings.sampleRate ? { sampleRate: settings.sampleRate } : {});
    await context.audioWorklet.addModule("/static/live-block.js");
    const blocks = new AudioWorkletNode(context, "blocks", { numberOfOutputs: 0, channelCountMode: "max" });
    context.createMediaStreamSource(stream).connect(blocks);
    let [socket, channels, number, waiting, over] = [null, 0, 0, 0, false];
    const stop = (said) => {
      if (over) return;
      over = true;
      for (const track of stream.getTracks()) track.stop();
      context.close();
      if (socket && socket.readyState < 2) socket.close();
      ended(said);
    };
    const open = (count) => {
      channels = count;
      socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${address}`);
      socket.binaryType = "arraybuffer";
      socket.onopen = () => {
        socket.send(JSON.stringify({ rate_hz: context.sampleRate, channels, altered, device_rate_hz: settings.sampleRate ?? null, ...more }));
        opened({ channels, rate: context.sampleRate, altered, say: (words) => socket.send(JSON.stringify(words)) });
      };
      socket.onmessage = (event) => { if (!over) heard(JSON.parse(event.data)); };
      socket.onclose = (event) => stop(event.reason || "The bench does not answer any more. Is it still running?");
    };
    blocks.port.onmessage = ({ data }) => {
      if (over) return;
      if (!socket) open(data.channels);
      if (socket.readyState !== 1 || data.channels !== channels || socket.bufferedAmount > 2_000_000) {
        if (socket.readyState === 1) waiting += data.lost + data.samples.length / data.channels;
        return;
      }
      const message = new ArrayBuffer(8 + data.samples.byteLength);
      const head = new DataView(message);
      head.setUint32(0, number, true);
      head.setUint32(4, waiting + data.lost, true);
      new Float32Array(message, 8).set(data.samples);
      socket.send(message);
      [number, waiting] = [(number + 1) % 2 ** 32, 0];
    };
    return stop;
  }

  window.benchInput = { listInputs, openInput };
}
