import { useState } from 'react';
import { Dialog } from '../components/dialog.tsx';
import { Choice, TextInput } from '../components/field.tsx';
import { Button } from '../components/button.tsx';
import { CallsSettings } from './calls-settings.tsx';
import { changeSettings, useSettings } from '../settings/settings.ts';
import type { DateStyle, DecimalSign, FlowUnit, PressureUnit, TemperatureUnit, Theme } from '../settings/settings.ts';

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

const pressureChoices: readonly { readonly value: PressureUnit; readonly text: string }[] = [
  { value: 'kPa', text: 'kPa' },
  { value: 'bar', text: 'bar' },
  { value: 'psi', text: 'psi' },
];
const temperatureChoices: readonly { readonly value: TemperatureUnit; readonly text: string }[] = [
  { value: 'degC', text: '°C' },
  { value: 'degF', text: '°F' },
];
const decimalChoices: readonly { readonly value: DecimalSign; readonly text: string }[] = [
  { value: 'point', text: 'Point: 1.5' },
  { value: 'comma', text: 'Comma: 1,5' },
];
const dateChoices: readonly { readonly value: DateStyle; readonly text: string }[] = [
  { value: 'en', text: 'English: 25 Nov 2026, 14:57' },
  { value: 'de', text: 'German: 25.11.2026, 14:57' },
  { value: 'iso', text: 'ISO 8601, with the zone: 2026-11-25T14:57+01:00' },
];

const targets = [
  { value: 'bare', text: 'For a mouse or bare fingers' },
  { value: 'gloves', text: 'For gloves: cells and buttons of 44 pixels and more' },
] as const;

/** What belongs to this window and to the person at it. */
export function SettingsButton() {
  const [open, setOpen] = useState(false);
  const { theme, flowUnit, operator, operators, pressureUnit, temperatureUnit, decimal, dates, gloves } = useSettings();
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
        {operators.length > 1 && (
          <Choice label="Who has worked here" value={operators.includes(name) ? name : ''} options={[{ value: '', text: 'choose …' }, ...operators.map((one) => ({ value: one, text: one }))]} onChange={setName} />
        )}
        <div className="field-row">
          <Choice label="Pressure" hint="Shown and typed. Files and records hold kPa." value={pressureUnit} options={pressureChoices} onChange={(chosen) => changeSettings({ pressureUnit: chosen })} />
          <Choice label="Temperature" hint="Shown and typed. Files and records hold °C." value={temperatureUnit} options={temperatureChoices} onChange={(chosen) => changeSettings({ temperatureUnit: chosen })} />
        </div>
        <div className="field-row">
          <Choice label="Decimal sign" hint="Of readings. Both are read where a number is typed." value={decimal} options={decimalChoices} onChange={(chosen) => changeSettings({ decimal: chosen })} />
          <Choice label="Dates and times" hint="Records and files have ISO 8601." value={dates} options={dateChoices} onChange={(chosen) => changeSettings({ dates: chosen })} />
        </div>
        <Choice label="Amounts of fluid" value={flowUnit} options={units} onChange={(unit) => changeSettings({ flowUnit: unit })} />
 <Choice label="Targets" value={gloves ? 'gloves' : 'bare'} options={targets} onChange={(chosen) => changeSettings({ gloves: chosen === 'gloves' })} />
        <Choice label="Theme" value={theme} options={themes} onChange={(chosen) => changeSettings({ theme: chosen })} />
        <CallsSettings />
      </Dialog>
    </>
  );
}
