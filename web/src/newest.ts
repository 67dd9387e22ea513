/** Which answer of several is the newest, where answers overtake each other and the service also tells unasked. */
export class Newest {
  private asked = 0;
  private shown = 0;

  /** Counts a question; its number goes with the answer to `takes`. */
  ask(): number {
    return ++this.asked;
  }

  /**
   * Is the answer to that question to be shown? Not where one asked later, or what was told since, is shown already.
   */
  takes(question: number): boolean {
    if (question < this.shown) return false;
    this.shown = question;
    return true;
  }

  /** Something was told unasked: it is newer than the answer to whatever was asked before. */
  told(): void {
    this.shown = ++this.asked;
  }
}
