import { decimals } from './decimals.ts';

/**
 * A length of time as one would say it: `4.2 s`, `38 s`, `2 min 5 s`, `12 min`, `1 h 5 min`, `2 d 3 h`. What is too small to matter beside the
 * rest is left out.
 */
export function durationText(seconds: number): string {
  if (!Number.isFinite(seconds)) return '–';
  if (seconds < 9.95) return decimals(`${seconds.toFixed(1)} s`);
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  if (whole < 600) return two(Math.floor(whole / 60), 'min', whole % 60, 's');
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  if (minutes < 2880) return two(Math.floor(minutes / 60), 'h', minutes % 60, 'min');
  const hours = Math.round(seconds / 3600);
  return two(Math.floor(hours / 24), 'd', hours % 24, 'h');
}

const two = (large: number, unit: string, small: number, smallUnit: string): string => `${large} ${unit}${small === 0 ? '' : ` ${small} ${smallUnit}`}`;

/** Of a length of time that is only estimated: no seconds. */
export function roughDuration(seconds: number): string {
  return seconds < 50 ? 'less than a minute' : durationText(Math.round(seconds / 60) * 60);
}
