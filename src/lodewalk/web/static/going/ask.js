// Asking while a person drags: the quick answer at once, the slow one when the hand rests, one at a time.
import { Latest } from "../api.js";

const QUICK_MS = 30;
const SLOW_MS = 450;

/** One question after the other; a newer one waits for the answer under way and passes those between. */
export class Asker {
  /**
   * @param {() => Promise<any>} quick @param {(found: any) => void} shown
   * @param {() => Promise<any>} slow @param {(found: any) => void} told
   * @param {(error: unknown) => void} wrong
   */
  constructor(quick, shown, slow, told, wrong) {
    this.parts = { quick, shown, slow, told, wrong };
    this.latest = new Latest();
    this.timers = { quick: 0, slow: 0 };
    this.busy = false;
    this.due = false;
    this.good = false;
    this.number = 0;
  }

  ask() {
    this.number += 1;
    this.good = false;
    clearTimeout(this.timers.quick);
    clearTimeout(this.timers.slow);
    this.timers.quick = window.setTimeout(() => this.quick(), QUICK_MS);
  }

  async quick() {
    const mine = this.number;
    try {
      const found = await this.latest.take(() => this.parts.quick());
      if (found === undefined || mine !== this.number) return;
      this.good = true;
      this.parts.shown(found);
      this.timers.slow = window.setTimeout(() => this.slow(), SLOW_MS);
    } catch (error) {
      if (mine === this.number) this.parts.wrong(error);
    }
  }

  async slow() {
    if (this.busy) {
      this.due = true;
      return;
    }
    this.busy = true;
    const mine = this.number;
    try {
      const found = await this.parts.slow();
      if (mine === this.number) this.parts.told(found);
    } catch (error) {
      if (mine === this.number) this.parts.wrong(error);
    } finally {
      this.busy = false;
      if (this.due) {
        this.due = false;
        if (this.good) this.slow();
      }
    }
  }
}
