/** The bar of a form whose next version is not saved yet: why, save, drop, and what is to be put right. */
import type { ReactNode } from 'react';
import { Button } from './button.tsx';
import { ConfirmButton } from './dialog.tsx';
import { TextInput } from './field.tsx';
import { Notice } from './status.tsx';

interface VersionBarProps {
  readonly label: string;
  readonly basedOn: number;
  readonly changed: boolean;
  /** Why it cannot be saved now; empty: it can. */
  readonly against: string;
  readonly busy: boolean;
  /** What the host said against it. */
  readonly refused: string;
  /** What is wrong with it as a whole. */
  readonly whole: string;
  /** Fields that are to be put right, as they are called. */
  readonly toPutRight: readonly string[];
  readonly reason: string;
  /** Label of the reason, and whether the focus is led there. */
  readonly reasonLabel: string;
  readonly reasonFocused?: boolean;
  readonly onReason: (reason: string) => void;
  readonly onSave: () => void;
  readonly onDrop: () => void;
  /** A field before the reason, and another way out of the form. */
  readonly first?: ReactNode;
  readonly more?: ReactNode;
}

export function VersionBar({ label, basedOn, changed, against, busy, refused, whole, toPutRight, reason, reasonLabel, reasonFocused = false, onReason, onSave, onDrop, first, more }: VersionBarProps) {
  return (
    <div className="record-save" role="region" aria-label={label}>
      <div className="field-row">
        {first}
        <TextInput label={reasonLabel} hint="Kept with this version and your name." autoFocus={reasonFocused} value={reason} onChange={onReason} onEnter={() => against === '' && !busy && onSave()} />
        <div className="button-row record-save-buttons">
          <Button kind="primary" against={against} showAgainst={against !== ''} busy={busy} onPress={onSave}>
            {busy ? 'Being saved …' : `Save version ${basedOn + 1}`}
          </Button>
          {more}
          {changed ? (
            <ConfirmButton question="What was typed here and is not saved is gone then." confirm="Drop it" onConfirm={onDrop}>
              Drop the change
            </ConfirmButton>
          ) : (
            <Button onPress={onDrop}>Close</Button>
          )}
        </div>
      </div>
      {refused !== '' && <Notice tone="bad">{refused}</Notice>}
      {whole !== '' && <Notice tone="bad">{whole}</Notice>}
      {toPutRight.length > 0 && (
        <p className="small" role="status">
          To be put right: {toPutRight.join('; ')}.
        </p>
      )}
    </div>
  );
}
