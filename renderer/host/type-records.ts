/** The lab's records of types of injectors, as they were read last. */
import { useState } from 'react';
import type { StoredType } from '../../app/contract/record-requests.ts';
import { parseTypeRecord, type TypeRecord } from '../../app/type-record/type-record.ts';
import { ask, useWhenUp } from './host.ts';

interface TypeRecords {
  /** As they were saved; null: not read yet. */
  readonly rows: readonly StoredType[] | null;
  /** Those that can be used. */
  readonly records: readonly TypeRecord[] | null;
  /** Why they could not be read; empty: they were. */
  readonly problem: string;
}

const recordsIn = (rows: readonly StoredType[]): readonly TypeRecord[] =>
  rows.flatMap(({ document }) => {
    const parsed = parseTypeRecord(document);
    return parsed.ok ? [parsed.record] : [];
  });

/** Read each time that the line comes up, and whenever `reload` is called. */
export function useTypeRecords(): TypeRecords & { readonly reload: () => Promise<void> } {
  const [read, setRead] = useState<TypeRecords>({ rows: null, records: null, problem: '' });
  const reload = async (): Promise<void> => {
    const reply = await ask('types.list', {});
    setRead((before) => (reply.ok ? { rows: reply.value.types, records: recordsIn(reply.value.types), problem: '' } : { ...before, problem: reply.failure.text }));
  };
  useWhenUp(() => void reload());
  return { ...read, reload };
}
