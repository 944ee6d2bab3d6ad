// Send lines of JSON, and print each answer as it comes: batch.mjs LINES.ndjson
import { readFile } from "node:fs/promises";
import { createInterface } from "node:readline/promises";
import { Readable } from "node:stream";

const service = process.env.STILLPIPE ?? "http://127.0.0.1:8000";
const reply = await fetch(`${service}/v1/batch`, {
  method: "POST",
  headers: {
    Authorization: `Bearer ${process.env.STILLPIPE_KEY ?? ""}`,
    "Content-Type": "application/x-ndjson",
  },
  body: await readFile(process.argv[2] ?? "openapi/examples/batch-lines.ndjson"),
});
if (!reply.ok) throw new Error(await reply.text());
let summary;
for await (const line of createInterface({ input: Readable.fromWeb(reply.body) })) {
  const item = JSON.parse(line);
  summary = item.summary;
  if (summary) console.log(`${summary.succeeded} of ${summary.total} answered`);
  else console.log(item.index, item.result?.verdict ?? item.problem.title);
}
process.exitCode = summary?.complete && summary.failed === 0 ? 0 : 1;
