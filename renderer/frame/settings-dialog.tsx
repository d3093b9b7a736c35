import { useState } from 'react';
import { Dialog } from '../components/dialog.tsx';
import { Choice, TextInput } from '../components/field.tsx';
import { Button } from '../components/button.tsx';
import { CallsSettings } from './calls-settings.tsx';
import { changeSettings, useSettings } from '../settings/settings.ts';
import type { FlowUnit, Theme } from '../settings/settings.ts';

const themes: readonly { readonly value: Theme; readonly text: string }[] = [
  { value: 'system', text: 'As the system' },
  { value: 'light', text: 'Light' },
  { value: 'dark', text: 'Dark' },
];
const units: readonly { readonly value: FlowUnit; readonly text: string }[] = [
  { value: 'mg', text: 'mg per pulse (flows in g/s)' },
  { value: 'g/s', text: 'g/s' },
  { value: 'cc/min', text: 'cc/min, with the density stated' },
  { value: 'lb/h', text: 'lb/h' },
];

const targets = [
  { value: 'bare', text: 'For a mouse or bare fingers' },
  { value: 'gloves', text: 'For gloves: cells and buttons of 44 pixels and more' },
] as const;

/** What belongs to this window and to the person at it. */
export function SettingsButton() {
  const [open, setOpen] = useState(false);
  const { theme, flowUnit, operator, gloves } = useSettings();
  const [name, setName] = useState(operator);
  const leave = (): void => {
    changeSettings({ operator: name });
    setOpen(false);
  };
  return (
    <>
      <Button
        kind="quiet"
        onPress={() => {
          setName(operator);
          setOpen(true);
        }}
      >
        Settings{operator === '' ? '' : ` (${operator})`}
      </Button>
      <Dialog wide title="This window" open={open} onClose={leave}>
        <TextInput label="Operator" hint="Recorded in the journal beside every command. Takes effect in other windows when this one connects again." value={name} onChange={setName} onEnter={leave} />
        <Choice label="Amounts of fluid" value={flowUnit} options={units} onChange={(unit) => changeSettings({ flowUnit: unit })} />
 <Choice label="Targets" value={gloves ? 'gloves' : 'bare'} options={targets} onChange={(chosen) => changeSettings({ gloves: chosen === 'gloves' })} />
        <Choice label="Theme" value={theme} options={themes} onChange={(chosen) => changeSettings({ theme: chosen })} />
        <CallsSettings />
      </Dialog>
    </>
  );
}
