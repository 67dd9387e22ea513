/**
 * Made scenes of other lights, grounds, coats, exposures and finishes than the demo's, for the join's level and white:
 * nothing of them was looked at while those were worked out. Every number is drawn by eye over what such shots show:
 * the key from a third to one and a third of the demo's, grounds that throw back 8 to 70 %, coats from 3 to 80 %,
 * exposures of film and take over two stops, homes with more and with less fill.
 */
import type { LightChange } from './light-scene-list.js';

/** Colours of a body taken towards grey and multiplied. */
export function recoloured(text: string, change: LightChange | undefined): string {
  if (change?.coat === undefined) return text;
  const k = change.coat;
  const grey = change.grey ?? 0;
  return text.replace(/rgb<([0-9.]+),([0-9.]+),([0-9.]+)>/g, (_, r: string, g: string, b: string) => {
    const c = [Number(r), Number(g), Number(b)];
    const y = 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;
    return `rgb<${c.map((v, i) => Math.min(0.9, ((1 - grey) * v + grey * y) * k[i]!).toFixed(4)).join(',')}>`;
  });
}

/** The demo's home in another light and with another cloth. */
export function homeChanged(text: string, change: LightChange | undefined): string {
  if (change === undefined) return text;
  const scaled = (rgb: string, f: number): string =>
    rgb
      .split(',')
      .map((v) => (Number(v) * f).toFixed(4))
      .join(',');
  const put = (t: string, from: string, to: string): string => {
    if (!t.includes(from)) throw new Error(`the demo's home no longer holds ${from}`);
    return t.replaceAll(from, to);
  };
  let out = put(text, 'rgb<2.35,2.1,1.8>', `rgb<${change.homeKey.join(',')}>`);
  for (const fill of ['0.2,0.2,0.23', '0.13,0.125,0.13', '0.025,0.14,0.04', '0.03,0.19,0.05'])
    out = put(out, `rgb<${fill}>`, `rgb<${scaled(fill, change.homeFill)}>`);
  for (const cloth of ['0.052,0.335,0.092', '0.06,0.365,0.102'])
    out = put(out, `rgb<${cloth}>`, `rgb<${scaled(cloth, change.cloth)}>`).replaceAll(
      `rgb <${cloth}>`,
      `rgb <${scaled(cloth, change.cloth)}>`,
    );
  return out;
}
