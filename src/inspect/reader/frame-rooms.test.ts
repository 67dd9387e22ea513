/** Pictures as the inspection holds them: of a file that holds light, the codes that the same picture has in a film. */
import { describe, expect, it } from 'vitest';
import { bt709Decode } from '../../colour/transfer.js';
import { encodeLight } from '../../media/light-curves.js';
import type { VideoFrame } from '../../media/types.js';
import { FrameRoom } from './frame-rooms.js';

const W = 8,
  H = 4;
const codes = Float32Array.from({ length: W * H }, (_, i) => i / (W * H - 1));

function frame(transfer: 'linear' | 'bt709' | 'pq', planes: readonly (Float32Array | Uint16Array)[], bitDepth: number) {
  return {
    index: 0,
    widthPx: W,
    heightPx: H,
    layout: 'rgb',
    hasAlpha: false,
    bitDepth,
    chromaShift: [0, 0],
    planes,
    colour: { matrix: 'rgb', transfer, primaries: 'bt709', fullRange: true, assumed: false },
  } as unknown as VideoFrame;
}

describe("a room's picture", () => {
  it('is the same of light (OpenEXR) and of an HDR curve as of codes', () => {
    const room = new FrameRoom();
    const light = Float32Array.from(codes, bt709Decode),
      whole = Uint16Array.from(codes, (c) => Math.round(65535 * c));
    const ofCodes = Float32Array.from(room.coded('plate', frame('bt709', [whole, whole, whole], 16)).data),
      ofLight = room.coded('join', frame('linear', [light, light, light], 32)).data;
    expect(Math.max(...ofCodes.map((c, i) => Math.abs(c - codes[i % (W * H)]!)))).toBeLessThan(1e-4);
    expect(Math.max(...ofCodes.map((c, i) => Math.abs(c - ofLight[i]!)))).toBeLessThan(5e-4);
    // PQ as the program decodes it; the curve has a test of its own (colour.test.ts).
    const pq = Float32Array.from(light, (l) => encodeLight(l, 'pq')),
      ofPq = Float32Array.from(room.coded('join', frame('pq', [pq, pq, pq], 32)).data);
    expect(Math.max(...ofCodes.map((c, i) => Math.abs(c - ofPq[i]!)))).toBeLessThan(2e-3);
    room.free();
  });
});
