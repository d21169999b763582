// Runs beside the browser's sound: gathers frames into blocks, and counts those that never came.
"use strict";
const FRAMES = 2048;
class Blocks extends AudioWorkletProcessor {
  constructor() {
    super();
    this.expected = null;
    this.lost = 0;
    this.filled = 0;
    this.block = null;
  }

  process([input]) {
    if (this.expected !== null && currentFrame > this.expected) this.lost += currentFrame - this.expected;
    const count = input.length ? input[0].length : 128;
    this.expected = currentFrame + count;
    if (!input.length) {
      this.lost += count; // the input gave nothing: said, never filled up with silence
      return true;
    }
    if (!this.block || this.block.channels !== input.length) {
      this.block = { channels: input.length, samples: new Float32Array(FRAMES * input.length) };
      this.filled = 0;
    }
    const { samples, channels } = this.block;
    for (let at = 0; at < count; at += 1) {
      for (let one = 0; one < channels; one += 1) samples[this.filled * channels + one] = input[one][at];
      this.filled += 1;
      if (this.filled === FRAMES) {
        this.port.postMessage({ channels, lost: this.lost, samples: samples.slice() });
        this.lost = 0;
        this.filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("blocks", Blocks);
