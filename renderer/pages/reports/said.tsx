import { Notice } from '../../components/status.tsx';

export interface ReportSaid {
  readonly tone: 'good' | 'bad';
  readonly sentences: readonly string[];
}

/** What came of something, one sentence a line. */
export function SaidNotice({ said }: { readonly said: ReportSaid | null }) {
  return (
    said !== null && (
      <Notice tone={said.tone}>
        <div className="report-said">
          {said.sentences.map((sentence) => (
            <p key={sentence}>{sentence}</p>
          ))}
        </div>
      </Notice>
    )
  );
}
