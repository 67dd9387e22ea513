/** One line of a bench table: our figure beside a reference's, the bar and the goal. */
export interface BenchRow {
  readonly name: string;
  readonly ours: number | null;
  readonly reference?: number | null;
  readonly bar: number | null;
  readonly goal: number | null;
  readonly unit: string;
  /** Which way is better; default 'low'. */
  readonly better?: 'low' | 'high';
}
