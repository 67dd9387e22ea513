/**
 * A process of its own for one job: `node job-main.js FOLDER JOB`. The workbench starts jobs this way, so that a crash
 * in a decoder takes down the job and not the service or the book.
 */
import { Book } from '../book/book.js';
import { exitCodeOf } from '../core/errors.js';
import { letHeapGrow } from '../core/heap.js';
import { runJob } from './run-job.js';

const [folder, id] = process.argv.slice(2);
if (folder === undefined || id === undefined) {
  process.stderr.write('usage: job-main FOLDER JOB\n');
  process.exit(2);
}
letHeapGrow();
const book = Book.open(folder);
try {
  await runJob(book, id);
} catch (error) {
  process.stderr.write(`${error instanceof Error ? error.message : String(error)}\n`);
  process.exitCode = exitCodeOf(error);
} finally {
  book.close();
}
