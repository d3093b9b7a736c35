/** Pump, relief valve and shut-off valve of the simulated controller. LINE-84, LINE-85, LINE-88 */
import type { RefusedRequest } from './controller-answers.ts';
import type { PlantPort } from './plant/plant-port.ts';

/** Which outputs of the extension `rail` there are. */
export interface RailEquipment {
  readonly pump: boolean;
  readonly relief: boolean;
  readonly shutOff: boolean;
}

export class ControllerRail {
  readonly outputs: RailEquipment;
  readonly #plant: PlantPort;
  #pumping = false;
  #reliefShut = false;
  #shut = false;

  constructor(plant: PlantPort, outputs: RailEquipment) {
    this.#plant = plant;
    this.outputs = outputs;
  }

  /** LINE-88. */
  makeSafe(): void {
    this.#pumping = false;
    this.#reliefShut = false;
    this.#shut = false;
    this.#command();
  }

  switchPump(on: boolean): void {
    this.#pumping = on && this.outputs.pump;
    if (on) this.#reliefShut = this.outputs.relief;
    this.#command();
  }

  shutOff(shut: boolean): void {
    this.#shut = shut;
    this.#command();
  }

  /** Why the pump cannot be commanded; null: it, or the relief valve, can. */
  noPump(): RefusedRequest | null {
    if (this.outputs.pump || this.outputs.relief) return null;
    return { refused: 'unsupported', text: 'This bench has no pump and no relief valve to command.' };
  }

  noShutOff(): RefusedRequest | null {
    return this.outputs.shutOff ? null : { refused: 'unsupported', text: 'This bench has no shut-off valve to command.' };
  }

  stands(): { readonly pumping: boolean; readonly relieved: boolean; readonly shut: boolean } {
    return { pumping: this.#pumping, relieved: this.outputs.relief && !this.#reliefShut, shut: this.#shut };
  }

  #command(): void {
    this.#plant.setRail({ pump: this.#pumping, reliefShut: this.#reliefShut, shutOff: this.#shut });
  }
}
