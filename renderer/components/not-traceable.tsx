import { Notice } from './status.tsx';

/** Stands over everything that a run tells when it was chosen to measure out of date; nothing where it was not. */
export function NotTraceable({ reasons }: { readonly reasons: readonly string[] }) {
  if (reasons.length === 0) return null;
  return (
    <Notice tone="bad">
      <strong>Not traceable. </strong>
      {reasons.join(' ')}
    </Notice>
  );
}
