// Asking while a person drags: the quick answer at once, the slow one when the hand rests, one at a time.
const SLOW_MS = 450;

/** One question after the other: while an answer is under way the newest question waits, those between are passed. */
export class Asker {
  /**
   * @param {() => Promise<any>} quick @param {(found: any) => void} shown
   * @param {() => Promise<any>} slow @param {(found: any) => void} told
   * @param {(error: unknown) => void} wrong
   */
  constructor(quick, shown, slow, told, wrong) {
    this.parts = { quick, shown, slow, told, wrong };
    this.timer = 0;
    this.asking = false;
    this.busy = false;
    this.due = false;
    this.good = false;
    this.number = 0;
  }

  ask() {
    this.number += 1;
    this.good = false;
    clearTimeout(this.timer);
    if (!this.asking) this.quick();
  }

  /** Ask until the answer is that of the newest question; answers between are shown, so that a drag looks alive. */
  async quick() {
    this.asking = true;
    let mine;
    do {
      mine = this.number;
      this.good = await this.once(mine);
    } while (mine !== this.number);
    this.asking = false;
    if (this.good) this.timer = window.setTimeout(() => this.slow(), SLOW_MS);
  }

  /** @param {number} mine */
  async once(mine) {
    try {
      this.parts.shown(await this.parts.quick());
      return true;
    } catch (error) {
      if (mine === this.number) this.parts.wrong(error);
      return false;
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
