import { decimalsShown, quantityText, shownIn } from '../../settings/quantities.ts';
import { useState } from 'react';
import type { BenchView } from '../../../app/contract/bench-requests.ts';
import { toMicroseconds, toMilliseconds } from '../../../app/quantities/quantity.ts';
import { deadManText } from '../../../app/run/safe-words.ts';
import { Button } from '../../components/button.tsx';
import { ConfirmButton } from '../../components/dialog.tsx';
import { Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { ask, liveBench, misreadMessages, useHost } from '../../host/host.ts';
import { useLatest } from '../../host/use-latest.ts';
import { durationText } from '../../components/durations.ts';
import { interlocksOf, statisticsRows } from './words.ts';

type Connected = Extract<BenchView, { state: 'connected' }>;

/** Armed, pulsing, interlocks and the latched fault. */
export function SafetyState({ bench }: { readonly bench: Connected }) {
  const { latest, age } = useLatest();
  const { control } = useHost();
  const [said, setSaid] = useState('');
  const frame = latest?.frame ?? null;
  const stale = !bench.up || (age ?? Infinity) > 1;
  const clear = async (): Promise<void> => {
    const reply = await ask('manual.clear-faults', {});
    setSaid(!reply.ok ? reply.failure.text : reply.value.accepted ? '' : reply.value.reason);
  };
  return (
    <Section title="Safety of the bench" aside={stale ? <Status tone="note">stale: as it was when the bench was last heard</Status> : undefined}>
      {frame === null ? (
        <p className="quiet">Nothing has been heard from the controller yet.</p>
      ) : (
        <>
          <ul className="facts">
            <li>
              {frame.armed ? <Status tone="note">Armed: drivers are energised</Status> : <Status tone="good">Disarmed: injectors off, supply at its safe value</Status>}
            </li>
            <li>{frame.burst.active ? <Status tone="busy">Pulsing</Status> : <Status tone="off">No pulses</Status>}</li>
            {interlocksOf(bench.capabilities.interlocks, frame.interlocks).map(({ name, healthy, closed, open }) => (
              <li key={name}>
                <Status tone={healthy ? 'good' : 'bad'}>
                  {name}: {healthy ? closed : open}
                </Status>
              </li>
            ))}
            {frame.fault === null && (
              <li>
                <Status tone="good">No fault latched</Status>
              </li>
            )}
          </ul>
          {frame.fault !== null && (
            <Notice tone="bad" action={<Button onPress={() => void clear()} against={control.mine ? '' : 'Take control first.'}>Clear fault</Button>}>
              <strong>Fault {frame.fault.code}. </strong>
              {frame.fault.text}
              {said !== '' && ` ${said}`}
            </Notice>
          )}
          {frame.fault === null && said !== '' && <Notice tone="note">{said}</Notice>}
        </>
      )}
      <p className="small quiet">What the PC shows and does is not a safety function. The controller, its interlocks and the emergency stop are.</p>
    </Section>
  );
}

/** Who the bench is, how it is reached, and how well the line works. */
export function LinkState({ bench }: { readonly bench: Connected }) {
  const { control, openRun } = useHost();
  const { latest } = useLatest();
  const [problem, setProblem] = useState('');
  const { identity, capabilities, statistics } = bench;
  const disconnect = async (): Promise<void> => {
    const reply = await ask('bench.disconnect', {});
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  const rows = statistics === null ? [] : statisticsRows(statistics);
  const bad = rows.filter((row) => row.text.startsWith('Lines dropped')).reduce((sum, row) => sum + row.count, 0);
  return (
    <Section title="Connection" aside={bench.up ? <Status tone="good">Link up</Status> : <Status tone="bad">Link down</Status>}>
      {!bench.up && <Notice tone="bad">{bench.why} {deadManText()} The host keeps looking for it.</Notice>}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <table className="plain">
        <tbody>
          <Row name="Bench">{identity.model}</Row>
          <Row name="Serial number">{identity.serialNumber}</Row>
          <Row name="Firmware">{`${identity.firmware}, protocol ${identity.protocol}`}</Row>
          <Row name="Port">{bench.simulated ? `${bench.link} (simulated)` : bench.link}</Row>
          <Row name="Controller up for">{latest === null ? '–' : durationText(latest.frame.at)}</Row>
          <Row name="Frames lost">{liveBench.lostFrames}</Row>
          <Row name="Lines dropped">{statistics === null ? '– (link down)' : bad}</Row>
        </tbody>
      </table>
      <details>
        <summary>What it can do, and counts of the line</summary>
        <table className="plain">
          <tbody>
            <Row name="Channels">{capabilities.channels}</Row>
            <Row name="Supply">{`${capabilities.minSupply} to ${capabilities.maxSupply} V; safe value ${capabilities.safeSupply} V`}</Row>
            <Row name="Pressure">{capabilities.pressure.commandable ? `set by the controller, ${Number(shownIn('kPa', capabilities.pressure.min / 1e3).toFixed(decimalsShown('kPa', 1)))} to ${quantityText(Number((capabilities.pressure.max / 1e3).toFixed(3)), 'kPa')}` : 'set by hand at the regulator'}</Row>
            <Row name="Pulse width">{`${toMilliseconds(capabilities.minWidth)} to ${toMilliseconds(capabilities.maxWidth)} ms in steps of ${toMicroseconds(capabilities.timerResolution)} µs`}</Row>
            <Row name="Period">{`${toMilliseconds(capabilities.minPeriod)} to ${toMilliseconds(capabilities.maxPeriod)} ms`}</Row>
            <Row name="Watchdog">{`${toMilliseconds(capabilities.deadManMin)} to ${toMilliseconds(capabilities.deadManMax)} ms`}</Row>
            <Row name="Start of the controller">{bench.bootId}</Row>
            {rows.map(({ text, count }) => (
              <Row key={text} name={text}>
                {count}
              </Row>
            ))}
            <Row name="Messages of the host not understood">{misreadMessages()}</Row>
          </tbody>
        </table>
      </details>
      <div className="button-row">
        <ConfirmButton
          question={openRun === null ? 'Disconnecting makes the bench safe and lets go of it. Disconnect it?' : 'A run is open on this bench: it would be interrupted, with all that was accepted kept. Disconnect all the same?'}
          confirm="Disconnect"
          onConfirm={() => void disconnect()}
          against={control.mine ? '' : 'Take control first.'}
        >
          Disconnect
        </ConfirmButton>
      </div>
    </Section>
  );
}

function Row({ name, children }: { readonly name: string; readonly children: string | number }) {
  return (
    <tr>
      <th scope="row">{name}</th>
      <td>{children}</td>
    </tr>
  );
}
