import { render } from 'preact';
import type { ReportData } from '../data.js';

const data = JSON.parse(document.getElementById('data')!.textContent!) as ReportData;
render(<h1>{data.about.truck}</h1>, document.getElementById('report')!);
