import type { ReactNode } from 'react';
import { decimals } from './decimals.ts';

export interface ValueProps {
  readonly label: string;
  /** The number as text without its unit, or null where it is not known. */
  readonly text: string | null;
  readonly unit: string;
  /** Why there is no number. */
  readonly missing?: string;
  /** The set point as text with unit; absent: nothing is set here. */
  readonly setPoint?: string | undefined;
  /** `inside` null: nothing to be said about it. */
  readonly band?: { readonly text: string; readonly inside: boolean | null } | undefined;
  /** Age in seconds; null: nothing was ever received. */
  readonly age: number | null;
  /** Older than this, in seconds, it is shown as stale. */
  readonly staleAfter?: number;
  readonly children?: ReactNode;
}

/** A live value with its unit, set point, band and age. A stale one is struck through in words and shape, not only paler. */
export function Value({ label, text, unit, missing = 'not known', setPoint, band, age, staleAfter = 1, children }: ValueProps) {
  const stale = text !== null && (age === null || age > staleAfter);
  return (
    <div className={`value${stale ? ' value-stale' : ''}${band?.inside === false && !stale ? ' value-outside' : ''}`}>
      <div className="value-label">{label}</div>
      <div className="value-number">
        {text === null ? (
          <span className="value-missing">– ({missing})</span>
        ) : (
          <>
            <span className="value-digits">{decimals(text)}</span>
            <span className="value-unit">{`\u00a0${unit}`}</span>
          </>
        )}
      </div>
      <dl className="value-facts">
        {setPoint !== undefined && (
          <div>
            <dt>set</dt>
            <dd>{decimals(setPoint)}</dd>
          </div>
        )}
        {band !== undefined && (
          <div>
            <dt>band</dt>
            <dd>
              {decimals(band.text)}
              {!stale && text !== null && band.inside !== null && (band.inside ? ' ✓' : ' ▲ outside')}
            </dd>
          </div>
        )}
        <div>
          <dt>age</dt>
          <dd>{text === null || age === null ? '–' : stale ? `▲ stale, ${ageText(age)}` : ageText(age)}</dd>
        </div>
      </dl>
      {children}
    </div>
  );
}

/** An age as people say it; below a second it is not counted, so that it does not flicker. */
function ageText(age: number): string {
  if (age < 1) return 'under 1 s';
  if (age < 120) return `${Math.floor(age)} s`;
  return `${Math.floor(age / 60)} min`;
}
