/** A misspelt field is as good as left out, so that it must be told. */
import { expect, it } from 'vitest';
import { strayFields } from './stray-fields.js';

const upright = { kind: 'upright', foot: [1, 2], top: [1, 1] };
const strays = (mark: object, file: object = {}): string[] =>
  strayFields(JSON.stringify({ frame: 0, ...file, marks: [mark] }));

it('names the field that was meant, of the mark and of the file', () => {
  expect(strays({ ...upright, heigth: 1.84 })).toEqual([
    'mark 1 (upright): "heigth" says nothing there; is "height" meant?',
  ]);
  expect(strays({ ...upright, Height: 1.84 })).toEqual([
    'mark 1 (upright): "Height" says nothing there; is "height" meant?',
  ]);
  expect(strays({ ...upright, height: 1.84 }, { focalpx: 900 })).toEqual([
    'the document: "focalpx" says nothing there; is "focalPx" meant?',
  ]);
});

it('says of any other what there is, and nothing of a file without one', () => {
  expect(strays({ ...upright, remark: 'door' })).toEqual([
    'mark 1 (upright): "remark" says nothing there, it has frame, foot, top, height, heightSd',
  ]);
  expect(strays({ ...upright, height: 1.84, heightSd: 0.1, frame: 3 })).toEqual([]);
});
