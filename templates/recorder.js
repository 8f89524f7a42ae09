"use strict";
// Passes on what the microphone gives, in pieces of a tenth of a second, and does nothing to it.
registerProcessor("recorder", class extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Float32Array(Math.round(sampleRate / 10));
    this.filled = 0;
  }
  process([channels]) {
    if (!channels.length) return true;
    for (const sample of channels[0]) {
      this.piece[this.filled++] = sample;
      if (this.filled === this.piece.length) {
        this.port.postMessage(this.piece.slice());
        this.filled = 0;
      }
    }
    return true;
  }
});
