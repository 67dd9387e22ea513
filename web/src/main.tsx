import '@fontsource/vollkorn/latin-400.css';
import '@fontsource/vollkorn/latin-700.css';
import '@fontsource/vollkorn/latin-400-italic.css';
import '@fontsource/alegreya-sans/latin-400.css';
import '@fontsource/alegreya-sans/latin-700.css';
import './style.css';
import { render } from 'solid-js/web';
import { App } from './app.js';
import { attempt, listen, refresh } from './api.js';

void attempt(refresh);
listen();
render(() => <App />, document.getElementById('book')!);
