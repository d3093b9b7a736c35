import { useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Page } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { goTo } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { LinkState, SafetyState } from './bench-state.tsx';
import { ByHand } from './by-hand.tsx';
import { Connect } from './connect.tsx';
import { EquipmentPart } from './equipment-part.tsx';
import { BenchReadings } from './readings.tsx';
import { SimulatedPart } from './simulated-bench.tsx';
import './bench.css';

/** The bench as it is now, and work on it by hand. */
export default function BenchPage() {
  const { bench } = useHost();
  if (bench.state !== 'connected') {
    return (
      <Page title="Bench" lead="No bench is connected. Choose one: the simulated bench behaves like a real one and needs no hardware.">
        <LeftUnfinished />
        <div className="sections">
          <Connect />
          <EquipmentPart />
          <Cautions />
        </div>
      </Page>
    );
  }
  const name = `${bench.identity.model} ${bench.identity.serialNumber}`;
  return (
    <Page title="Bench" lead={bench.simulated ? `${name} is simulated: readings behave like those of a real bench, and nothing is energised.` : `${name}: real pressure, real fuel, real current.`}>
      <LeftUnfinished />
      <BenchReadings bench={bench} />
      <div className="bench-parts">
        <SafetyState bench={bench} />
        <ByHand bench={bench} />
        {bench.simulated && <SimulatedPart key={bench.bootId} bench={bench} />}
        <LinkState bench={bench} />
        <EquipmentPart />
      </div>
    </Page>
  );
}

/** The latest run, where it was left unfinished (a program or computer that died): the way back to it (WIN-15). */
function LeftUnfinished() {
  const { openRun } = useHost();
  const [run, setRun] = useState<RunRow | null>(null);
  useWhenUp(() => {
    void ask('runs.list', { limit: 1 }).then((reply) => setRun(reply.ok ? (reply.value[0] ?? null) : null));
  });
  if (openRun !== null || run === null || run.ending !== null) return null;
  return (
    <Notice
      tone="note"
      action={
        <Button kind="primary" onPress={() => goTo('run', run.id)}>
          To the unfinished run
        </Button>
      }
    >
      <strong>The latest run is unfinished. </strong>
      {run.planName}, begun {dateTimeText(run.createdAt)}: {run.counting} of {run.points} points accepted. Nothing of it is lost. Connect its bench, then go on with it, or leave it for later.
    </Notice>
  );
}

function Cautions() {
  return (
    <Notice tone="note">
      <strong>Before a real bench is connected</strong>
      <ul>
        <li>The fluid is flammable. Ventilation on, no ignition source, an extinguisher at hand.</li>
        <li>The rail is under pressure, also with the supply off. Cover closed, lines tight, eyes protected.</li>
        <li>Drivers and coils are energised and get hot once the bench is armed.</li>
        <li>PC software is not a safety function. Know where the emergency stop of the bench is, and that it works.</li>
      </ul>
    </Notice>
  );
}
