/** Numbers as text: how many digits and which sign, everywhere the same. Digits follow the uncertainty. */

const dash = '–';

/** Decimals (negative: places before the point) at which `value`, rounded to `significant` digits, ends; never more than 12. */
function decimalsFor(value: number, significant: number): number {
  const exponent = Number(value.toExponential(significant - 1).split('e')[1]);
  return Math.min(12, significant - 1 - exponent);
}

function fixed(value: number, decimals: number): string {
  const step = 10 ** Math.max(0, -decimals);
  return trueMinus((step === 1 ? value : Math.round(value / step) * step).toFixed(Math.max(0, decimals)));
}

/** The sign that is as wide as a plus; zero has none. */
export function trueMinus(text: string): string {
  return Number(text) === 0 ? text.replace('-', '') : text.replace('-', '−');
}

function usable(u: number | null): u is number {
  return u !== null && Number.isFinite(u) && u > 0;
}

/** `value` to the digit at which its uncertainty ends (JCGM 100:2008, 7.2.6); without one, to four significant digits. */
export function figure(value: number | null, u: number | null = null): string {
  if (value === null || !Number.isFinite(value)) return dash;
  return fixed(value, usable(u) ? decimalsFor(u, 2) : value === 0 ? 0 : Math.max(0, decimalsFor(value, 4)));
}

/** `1.3453 ± 0.0037`; without an uncertainty the value alone. `signed`: with its sign, for differences. */
export function plusMinus(value: number | null, u: number | null, signed = false): string {
  const own = figure(value, u);
  if (own === dash || !usable(u)) return signed ? withSign(own) : own;
  return `${signed ? withSign(own) : own} ± ${figure(u, u)}`;
}

/** With a plus where it is above zero, as differences are written; `text` is one of this file's. */
export function withSign(text: string): string {
  return text === dash || text.startsWith('−') || Number(text) === 0 ? text : `+${text}`;
}

/** To so many significant digits (default two), for numbers that are told in a sentence. */
export function brief(value: number, significant = 2): string {
  if (!Number.isFinite(value)) return dash;
  return value === 0 ? '0' : fixed(value, Math.max(0, decimalsFor(value, significant)));
}

/** Degrees of freedom; above a million nobody can tell them from infinitely many. */
export function degrees(dof: number): string {
  if (!Number.isFinite(dof) || dof >= 1e6) return 'very many';
  return dof >= 10 ? String(Math.round(dof)) : brief(dof);
}

/** A number of a plan without the last bits of a conversion. */
export function plain(value: number): string {
  return String(Number(value.toPrecision(10)));
}

/** A relative uncertainty in percent, two significant digits. */
export function percentFigure(relative: number): string {
  return figure(100 * relative, 100 * relative);
}
