import { Choice } from '../../components/field.tsx';
import { plainShown as plain } from '../../components/figures.ts';
import type { Selection, Wish } from './selection.ts';

interface PickerProps {
  readonly selection: Selection;
  readonly onWish: (wish: Partial<Wish>) => void;
}

export function InjectorPicker({ selection: { injectors, injector }, onWish }: PickerProps) {
  return (
    <Choice
      label="Injector"
      value={String(injector)}
      options={injectors.map(({ index, serialNumber }) => ({ value: String(index), text: serialNumber }))}
      onChange={(value) => onWish({ injector: Number(value) })}
    />
  );
}

export function VoltagePicker({ selection: { voltages, voltage }, onWish }: PickerProps) {
  return (
    <Choice label="Supply voltage" value={String(voltage)} options={voltages.map((v) => ({ value: String(v), text: `${plain(v)} V` }))} onChange={(value) => onWish({ voltage: Number(value) })} />
  );
}

export function ConditionPicker({ selection: { conditions, condition }, onWish }: PickerProps) {
  if (conditions.length < 2) return null;
  return (
    <div className="field-row">
      <Choice label="Pressure and period" value={condition.key} options={conditions.map(({ key, label }) => ({ value: key, text: label }))} onChange={(value) => onWish({ condition: value })} />
    </div>
  );
}
