import { useRef } from 'react';
import type { ReactNode } from 'react';
import { Button } from './button.tsx';

interface FileButtonProps {
  readonly children: ReactNode;
  readonly fileLabel: string;
  readonly accept?: string;
  readonly against?: string;
  readonly onFile: (file: File) => void;
}

/** A button that has a file chosen, JSON unless `accept` says otherwise. The same file may be chosen again. `fileLabel` names the field behind it. */
export function FileButton({ children, fileLabel, accept = '.json,application/json', against, onFile }: FileButtonProps) {
  const file = useRef<HTMLInputElement>(null);
  return (
    <>
      <Button against={against} onPress={() => file.current?.click()}>
        {children}
      </Button>
      <input
        ref={file}
        type="file"
        hidden
        accept={accept}
        aria-label={fileLabel}
        onChange={(event) => {
          const chosen = event.target.files?.[0];
          event.target.value = '';
          if (chosen !== undefined) onFile(chosen);
        }}
      />
    </>
  );
}
