/** Captions as lines that a person writes: "48-95 She waits." with first and last frame of the programme. */
export interface Caption {
  /** Frames of the programme, `out` exclusive. */
  readonly in: number;
  readonly out: number;
  readonly text: string;
}

/** The captions as such lines. */
export function captionLines(captions: readonly Caption[]): string {
  return captions.map((c) => `${c.in}-${c.out - 1} ${c.text}`).join('\n');
}

/** The captions of the text, or what is wrong with it. */
export function readCaptions(text: string): Caption[] | string {
  const out: Caption[] = [];
  for (const line of text.split('\n')) {
    if (line.trim() === '') continue;
    const m = /^\s*(\d+)\s*[-–]\s*(\d+)\s+(\S.*)$/.exec(line);
    if (m === null)
      return `“${line.trim()}” is no caption: write its first frame, a hyphen, its last frame and the words`;
    if (Number(m[2]) < Number(m[1])) return `“${line.trim()}” ends before it begins`;
    out.push({ in: Number(m[1]), out: Number(m[2]) + 1, text: m[3]!.trim() });
  }
  return out;
}
