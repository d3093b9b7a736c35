import { useState } from 'react';
import type { ReactNode } from 'react';
import { Dialog as AriaDialog, Heading, Modal, ModalOverlay } from 'react-aria-components';
import { Button } from './button.tsx';

interface DialogProps {
  readonly title: string;
  readonly open: boolean;
  readonly onClose: () => void;
  readonly children: ReactNode;
  readonly wide?: boolean;
}

/** A dialog over the page. It closes by Escape and by its own button; the stop control stays usable above it. */
export function Dialog({ title, open, onClose, children, wide = false }: DialogProps) {
  return (
    <ModalOverlay
      className="dialog-ground"
      isOpen={open}
      isDismissable
      onOpenChange={(now) => {
        if (!now) onClose();
      }}
    >
      <Modal className={wide ? 'dialog dialog-wide' : 'dialog'}>
        <AriaDialog className="dialog-body">
          <div className="dialog-head">
            <Heading slot="title">{title}</Heading>
            <Button kind="quiet" onPress={onClose} label={`Close: ${title}`}>
              Close
            </Button>
          </div>
          {children}
        </AriaDialog>
      </Modal>
    </ModalOverlay>
  );
}

interface ConfirmBarProps {
  /** What would happen and what cannot be taken back. */
  readonly question: string;
  readonly confirm: string;
  readonly onConfirm: () => void;
  readonly onLeave: () => void;
}

/** Asks in place instead of over the page. Focus goes to the way out, so that a stray Enter does nothing. */
export function ConfirmBar({ question, confirm, onConfirm, onLeave }: ConfirmBarProps) {
  return (
    <div
      className="confirm"
      role="alertdialog"
      aria-label={question}
      onKeyDown={(event) => {
        if (event.key === 'Escape') onLeave();
      }}
    >
      <p>{question}</p>
      <Button autoFocus onPress={onLeave}>
        Leave it
      </Button>
      <Button onPress={onConfirm}>{confirm}</Button>
    </div>
  );
}

/** For an action that is asked about first: the button turns into the question. */
export function ConfirmButton({ children, question, confirm, onConfirm, against }: {
  readonly children: ReactNode;
  readonly question: string;
  readonly confirm: string;
  readonly onConfirm: () => void;
  readonly against?: string | undefined;
}) {
  const [asking, setAsking] = useState(false);
  if (!asking) {
    return (
      <Button against={against} onPress={() => setAsking(true)}>
        {children}
      </Button>
    );
  }
  return (
    <ConfirmBar
      question={question}
      confirm={confirm}
      onLeave={() => setAsking(false)}
      onConfirm={() => {
        setAsking(false);
        onConfirm();
      }}
    />
  );
}
