/** Two tones that fall, twice: heard beside talk and telephones, and unlike either. Hz, s from the beginning, s long. */
const TONES = [
  [880, 0, 0.16],
  [622, 0.18, 0.26],
  [880, 0.7, 0.16],
  [622, 0.88, 0.26],
] as const;
const LOUD = 0.25;

/** The sound of a pull-over. Browsers let a page sound only after a click or a key in it. */
export class Alarm {
  #context: AudioContext | null = null;

  /** Call it while a click or a key is handled. */
  unlock(): void {
    this.#context ??= new AudioContext();
    if (this.#context.state === 'suspended') void this.#context.resume();
  }

  /** May it be heard? */
  get isReady(): boolean {
    return this.#context?.state === 'running';
  }

  sound(): void {
    const context = this.#context;
    if (context === null || context.state !== 'running') return;
    for (const [hertz, begin, length] of TONES) {
      const [tone, gain] = [context.createOscillator(), context.createGain()];
      const at = context.currentTime + begin;
      tone.type = 'triangle';
      tone.frequency.value = hertz;
      // A tone that begins or ends at once clicks.
      gain.gain.setValueAtTime(0, at);
      gain.gain.linearRampToValueAtTime(LOUD, at + 0.02);
      gain.gain.setValueAtTime(LOUD, at + length - 0.04);
      gain.gain.linearRampToValueAtTime(0, at + length);
      tone.connect(gain).connect(context.destination);
      tone.start(at);
      tone.stop(at + length);
    }
  }
}
