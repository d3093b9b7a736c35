import { useState } from 'react';
import type { OnCallView } from '../../app/contract/on-call.ts';
import { Button } from '../components/button.tsx';
import { Choice, TextInput } from '../components/field.tsx';
import { Notice } from '../components/status.tsx';
import { ask, useHost, useWhenUp } from '../host/host.ts';
import { changeSettings, useSettings } from '../settings/settings.ts';
import type { Sound } from '../settings/settings.ts';
import { play } from './sound.ts';

const sounds: readonly { readonly value: Sound; readonly text: string }[] = [
  { value: 'two-tone', text: 'Two tones' },
  { value: 'bell', text: 'Bell' },
  { value: 'horn', text: 'Horn' },
  { value: 'off', text: 'None' },
];
const notices = [
  { value: 'no', text: 'In this window only' },
  { value: 'yes', text: 'Also as a notification of the system' },
] as const;

/** How this window calls when a run needs somebody, and who is told out of the house. */
export function CallsSettings() {
  const { sound, notify } = useSettings();
  const [said, setSaid] = useState('');
  const tryOut = async (): Promise<void> => {
    const sounded = await play(sound);
    const shown = !notify ? '' : Notification.permission === 'granted' ? ' A notification was shown.' : ' The system or the browser does not let this window show notifications.';
    if (notify && Notification.permission === 'granted') new Notification('Railhouse', { body: 'So a run calls.', tag: 'railhouse-call' });
    setSaid(`${sound === 'off' ? 'No sound is chosen.' : sounded ? 'It has sounded; if nothing was heard, look at the loudspeaker.' : 'The browser does not let this window sound.'}${shown}`);
  };
  const choose = async (yes: boolean): Promise<void> => {
    changeSettings({ notify: yes });
    if (yes && typeof Notification !== 'undefined' && Notification.permission === 'default') await Notification.requestPermission();
    setSaid(yes && Notification.permission !== 'granted' ? 'The system or the browser does not let this window show notifications.' : '');
  };
  return (
    <fieldset className="settings-part">
      <legend>When a run needs somebody: trip, hold, question, end</legend>
      <div className="field-row">
        <Choice label="Sound" value={sound} options={sounds} onChange={(chosen) => changeSettings({ sound: chosen })} />
        <Choice label="It is shown" value={notify ? 'yes' : 'no'} options={notices} onChange={(chosen) => void choose(chosen === 'yes')} />
        <Button onPress={() => void tryOut()}>Try sound and notification</Button>
      </div>
      {said !== '' && <p role="status">{said}</p>}
      <OnCall />
    </fieldset>
  );
}

function OnCall() {
  const { control } = useHost();
  const [view, setView] = useState<OnCallView | null>(null);
  const [address, setAddress] = useState('');
  const [said, setSaid] = useState<readonly string[]>([]);
  const [busy, setBusy] = useState(false);
  const take = (read: OnCallView): void => {
    setView(read);
    setAddress(read.webhook ?? '');
  };
  useWhenUp(() => void ask('on-call.read', {}).then((reply) => reply.ok && take(reply.value)));
  const save = async (): Promise<void> => {
    const reply = await ask('on-call.save', { webhook: address.trim() === '' ? null : address.trim() });
    if (reply.ok) take(reply.value);
    setSaid([reply.ok ? (reply.value.webhook === null ? 'Kept: nothing is sent over a webhook.' : `Kept: calls are sent to ${reply.value.webhook}.`) : reply.failure.text]);
  };
  const tryOut = async (): Promise<void> => {
    setBusy(true);
    const reply = await ask('on-call.try', {});
    setBusy(false);
    setSaid(reply.ok ? reply.value.said : [reply.failure.text]);
  };
  if (view === null) return null;
  const against = control.mine ? '' : 'Take control first.';
  return (
    <>
      <TextInput
        label="Webhook of whoever is on call" hint="The host sends each call there as JSON, and again until it has arrived. Empty: nothing leaves this machine." value={address} onChange={setAddress} onEnter={() => void save()}
      />
      <div className="button-row">
        <Button against={against} onPress={() => void save()}>
          Keep this address
        </Button>
        <Button against={against} busy={busy} onPress={() => void tryOut()}>
          Send a test call
        </Button>
      </div>
      <p className="small quiet">
        {view.command === null ? 'A command can be started too; it is set in the file only' : `The command ${view.command.join(' ')} is started too`} ({view.file}).
      </p>
      {view.problem !== '' && <Notice tone="bad">{view.problem}</Notice>}
      {(said.length > 0 ? said : view.last).map((text) => (
        <p key={text} role="status">
          {text}
        </p>
      ))}
    </>
  );
}
