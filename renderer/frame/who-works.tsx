import { useState } from 'react';
import { Button } from '../components/button.tsx';
import { TextInput } from '../components/field.tsx';
import { Notice } from '../components/status.tsx';
import { changeSettings, useSettings } from '../settings/settings.ts';

/** Asks at first use who works at this window: nothing goes into a journal under a name that nobody gave. */
export function WhoWorks() {
  const operator = useSettings((settings) => settings.operator);
  const [name, setName] = useState('');
  if (operator !== '') return null;
  const give = (): void => changeSettings({ operator: name });
  return (
    <Notice tone="note" action={<Button kind="primary" against={name.trim() === '' ? 'Write a name first.' : ''} onPress={give}>Work under this name</Button>}>
      <strong>Who is the operator? </strong>
      The name is recorded in the journal beside every command, and in every report. Until it is given, no plan is saved and no run is started; STOP works all the same.
      <TextInput label="Your name" value={name} onChange={setName} onEnter={give} />
    </Notice>
  );
}
