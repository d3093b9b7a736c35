import { useRef } from 'react';
import type { ReactNode } from 'react';
import { Button } from './button.tsx';

/** A button that has a JSON file chosen. The same file may be chosen again. `fileLabel` names the field behind it. */
export function FileButton({ children, fileLabel, against, onFile }: { readonly children: ReactNode; readonly fileLabel: string; readonly against?: string; readonly onFile: (file: File) => void }) {
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
        accept=".json,application/json"
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
