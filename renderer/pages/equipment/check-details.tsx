import type { MeterCheckRow } from '../../../app/contract/meter-check-row.ts';
import { Status, type Tone } from '../../components/status.tsx';

const verdictTones: Readonly<Record<NonNullable<MeterCheckRow['verdict']>, Tone>> = { within: 'good', outside: 'bad', undecided: 'note', 'not-repeatable': 'note', 'not-one-rate': 'note' };
const verdictWords: Readonly<Record<NonNullable<MeterCheckRow['verdict']>, string>> = { within: 'within', outside: 'outside', undecided: 'undecided', 'not-repeatable': 'does not repeat', 'not-one-rate': 'not one rate' };

export function VerdictStatus({ check }: { readonly check: MeterCheckRow }) {
  return check.verdict === null ? <Status tone="unknown">not worked out</Status> : <Status tone={verdictTones[check.verdict]}>{verdictWords[check.verdict]}</Status>;
}

const signed = (value: number): string => `${value < 0 ? '−' : '+'}${Math.abs(value).toFixed(3)}`;

/** What a check found, rate by rate. */
export function CheckDetails({ check }: { readonly check: MeterCheckRow }) {
  return (
    <>
      <p className="check-text">
        <VerdictStatus check={check} />. {check.text}
      </p>
      {check.rates.length > 0 && (
        <div className="figure-table">
          <table className="plain">
            <caption className="unseen">K-factors of check {check.no}</caption>
            <thead>
              <tr>
                <th className="numeric">Hz</th>
                <th className="numeric">K, edges/L</th>
                <th className="numeric">Runs</th>
                <th className="numeric">From the one in use, %</th>
                <th className="numeric">From the certificate, %</th>
              </tr>
            </thead>
            <tbody>
              {check.rates.map((rate) => (
                <tr key={rate.hertz}>
                  <td className="numeric">{rate.hertz.toFixed(2)}</td>
                  <td className="numeric">
                    {rate.edgesPerLitre.toFixed(1)} ± {rate.expandedEdgesPerLitre.toFixed(1)}
                  </td>
                  <td className="numeric">{rate.runs}</td>
                  <td className="numeric">
                    {signed(rate.percent)} ± {rate.expandedPercent.toFixed(3)}
                  </td>
                  <td className="numeric">{signed(rate.fromCertificatePercent)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
      <p className="small quiet">
        {check.repeatabilityPercent === null ? 'No rate was run twice, so nothing is known of how it repeats.' : `Repeatability ${check.repeatabilityPercent.toFixed(3)} %.`} Intervals: U95. {check.purpose === 'calibration' ? `Certificate until ${check.validUntil}.` : ''}
      </p>
      {check.cautions.length > 0 && (
        <details>
          <summary>Cautions: {check.cautions.length}</summary>
          <ul className="small">
            {check.cautions.map((caution) => (
              <li key={caution}>{caution}</li>
            ))}
          </ul>
        </details>
      )}
    </>
  );
}
