// A client of resumable uploads that is not ours: tus-js-client, as Node runs it.
// Usage: node tus-client.mjs COOKIE FILE { create URL | resume URL | end URL }
//   create   makes an upload at URL, sends its first quarter, and breaks the
//            connection off within the second; prints the upload's address
//   resume   sends the rest of the upload at that address; prints the last
//            answer's headers as JSON, one line
//   end      terminates the upload at that address
// Anything else that happens is an error: exit 1 with its text.
import { readFileSync } from "node:fs";
import { basename } from "node:path";
import tus from "tus-js-client";

const [cookie, file, what, url] = process.argv.slice(2);
const body = readFileSync(file);
const headers = { Cookie: cookie };
const failed = (error) => {
  console.error(String(error), error.originalResponse?.getBody?.() ?? "");
  process.exit(1);
};

if (what === "end") {
  tus.Upload.terminate(url, { headers, retryDelays: [] }).then(() => console.log("ended"), failed);
} else {
  const options = {
    headers,
    retryDelays: [],
    metadata: { filename: basename(file), filetype: "image/jpeg" },
    onError: failed,
    onSuccess: ({ lastResponse }) => {
      if (what === "create") failed(new Error("it was sent to its end"));
      console.log(JSON.stringify({
        status: lastResponse.getStatus(),
        photo: lastResponse.getHeader("Photo-Id"),
        thumb: lastResponse.getHeader("Photo-Thumb"),
        duplicate: lastResponse.getHeader("Photo-Duplicate") ?? "",
      }));
    },
  };
  if (what === "create") {
    options.endpoint = url;
    // In chunks, so that what the sockets between may still deliver after the end
    // of this process cannot be the whole file.
    options.chunkSize = Math.floor(body.length / 4);
    options.onProgress = (sent) => {
      if (sent <= options.chunkSize) return;
      console.log(upload.url);
      // As when the phone is switched off: the process ends in mid-chunk.
      process.exit(0);
    };
  } else {
    options.uploadUrl = url;
  }
  const upload = new tus.Upload(body, options);
  upload.start();
}
