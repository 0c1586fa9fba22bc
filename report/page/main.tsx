import { render } from 'preact';
import type { ReportData } from '../data.js';
import { ReportPage } from './report-page.js';

const at = document.getElementById('report')!;
const data = read();
if (typeof data === 'string') render(<p class="problem">{data}</p>, at);
else render(<ReportPage data={data} />, at);

/** The report, or what is wrong with it. */
function read(): ReportData | string {
  try {
    const found = JSON.parse(document.getElementById('data')?.textContent ?? '') as ReportData;
    return found.v === 1 ? found : `This report has form ${found.v}, which this page cannot draw. Make it anew.`;
  } catch {
    return 'The data of this report cannot be read: the file is cut off or was changed. Make it anew, or copy it again.';
  }
}
