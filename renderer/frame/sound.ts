/** Sounds that call a person: made here, so that there is no file to be missing. A browser lets a page sound only after somebody has touched it. */
import type { Sound } from '../settings/settings.ts';

interface Tone {
  readonly hz: number;
  /** s from the beginning, and how long. */
  readonly at: number;
  readonly s: number;
}

const tones: Readonly<Record<Exclude<Sound, 'off'>, { readonly wave: OscillatorType; readonly tones: readonly Tone[] }>> = {
  bell: { wave: 'sine', tones: [{ hz: 1320, at: 0, s: 0.9 }, { hz: 880, at: 0.35, s: 1.2 }] },
  'two-tone': { wave: 'triangle', tones: [{ hz: 960, at: 0, s: 0.28 }, { hz: 770, at: 0.3, s: 0.28 }, { hz: 960, at: 0.6, s: 0.28 }, { hz: 770, at: 0.9, s: 0.4 }] },
  horn: { wave: 'square', tones: [{ hz: 330, at: 0, s: 0.5 }, { hz: 330, at: 0.7, s: 0.5 }, { hz: 330, at: 1.4, s: 0.7 }] },
};

let context: AudioContext | null = null;

/** false: the browser does not let this page sound yet, because nobody has touched it. */
export async function play(sound: Sound): Promise<boolean> {
  if (sound === 'off') return true;
  context ??= new AudioContext();
  const { currentTime, destination } = context;
  // Does not come back while a page may not sound.
  if (context.state !== 'running') await Promise.race([context.resume(), new Promise((resolve) => setTimeout(resolve, 300))]);
  if (context.state !== 'running') return false;
  const { wave, tones: all } = tones[sound];
  for (const { hz, at, s } of all) {
    const [oscillator, gain] = [context.createOscillator(), context.createGain()];
    const from = Math.max(currentTime, context.currentTime) + at + 0.02;
    oscillator.type = wave;
    oscillator.frequency.value = hz;
    gain.gain.setValueAtTime(0, from);
    gain.gain.linearRampToValueAtTime(wave === 'square' ? 0.25 : 0.5, from + 0.015);
    gain.gain.exponentialRampToValueAtTime(0.001, from + s);
    oscillator.connect(gain).connect(destination);
    oscillator.start(from);
    oscillator.stop(from + s + 0.05);
  }
  return true;
}
