/** The details of reports that the lab keeps, as they were read last. */
import { useState } from 'react';
import type { StoredDetails } from '../../app/contract/report-requests.ts';
import { ask, useWhenUp } from './host.ts';

interface KeptDetails {
  /** null: not read yet. */
  readonly rows: readonly StoredDetails[] | null;
  /** Why they could not be read; empty: they were. */
  readonly problem: string;
}

/** Read each time that the line comes up, and whenever `reload` is called. */
export function useKeptDetails(): KeptDetails & { readonly reload: () => Promise<void> } {
  const [read, setRead] = useState<KeptDetails>({ rows: null, problem: '' });
  const reload = async (): Promise<void> => {
    const reply = await ask('details.list', {});
    setRead((before) => (reply.ok ? { rows: reply.value.details, problem: '' } : { ...before, problem: reply.failure.text }));
  };
  useWhenUp(() => void reload());
  return { ...read, reload };
}
