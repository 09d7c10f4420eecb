// Passkeys. The server says what to ask the device (W3C Web Authentication, with
// bytes in base64url); the answer goes back with the form. Whatever fails is
// said in a sentence beside the button: the form stays as it is, and so does the
// way without a passkey.
const able = "PublicKeyCredential" in window && Boolean(navigator.credentials);

for (const part of document.querySelectorAll("[data-passkey-able]")) part.hidden = !able;
for (const part of document.querySelectorAll("[data-passkey-unable]")) part.hidden = able;
if (able) {
  for (const form of document.querySelectorAll("form[data-passkey-add]")) adding(form);
  for (const button of document.querySelectorAll("[data-passkey-sign]")) signing(button);
}

// A page that one comes back to asks anew.
addEventListener("pageshow", () => {
  for (const field of document.querySelectorAll("[name=passkey_token], [name=passkey_answer]")) field.value = "";
});

function adding(form) {
  form.addEventListener("submit", (event) => {
    if (form.elements.passkey_answer.value) return; // on its way to the server
    event.preventDefault();
    const device = (publicKey) => navigator.credentials.create({ publicKey });
    confirmed(form, form.dataset.passkeyAdd, {}, device, (fault) => fault.name === "InvalidStateError"
      ? "This device has a passkey for this page already, so none was added."
      : "The device made no passkey, so none was added. You can try again, or sign without one.");
  });
}

function signing(button) {
  const form = button.form;
  button.addEventListener("click", () => {
    if (!form.reportValidity()) return;
    const device = (publicKey) => navigator.credentials.get({ publicKey });
    confirmed(form, button.dataset.passkeySign, { outcome: button.dataset.outcome }, device, () =>
      "The passkey did not confirm it, so nothing is recorded. What you typed is still here: you can try again, or go on without the passkey.");
  });
}

// confirmed asks the server what to ask, asks the device, and sends the form
// with its answer.
async function confirmed(form, url, more, device, refusal) {
  const said = form.querySelector("[data-passkey-said]");
  if (form.dataset.asking || form.dataset.sent) return;
  form.dataset.asking = "yes";
  said.textContent = "Your device asks you now.";
  try {
    const asked = await ask(form, url, more);
    let answer;
    try {
      answer = await device(opened(asked.publicKey));
    } catch (fault) {
      throw new Error(refusal(fault));
    }
    form.elements.passkey_token.value = asked.token;
    form.elements.passkey_answer.value = JSON.stringify(closed(answer));
    said.textContent = "";
    form.requestSubmit();
  } catch (fault) {
    said.textContent = fault.message;
    said.scrollIntoView({ block: "nearest" });
  } finally {
    delete form.dataset.asking;
  }
}

async function ask(form, url, more) {
  const body = new URLSearchParams(new FormData(form));
  for (const [name, value] of Object.entries(more)) body.set(name, value);
  let reply;
  let told;
  try {
    reply = await fetch(url, { method: "POST", body, headers: { Accept: "application/json" }, credentials: "same-origin" });
    told = await reply.json();
  } catch {
    throw new Error("The shop’s server does not answer just now. What you typed is still here; please try again.");
  }
  if (!reply.ok) throw new Error([told.error, ...Object.values(told.fields ?? {})].filter(Boolean).join(" "));
  return told;
}

// opened turns the server's text into the bytes that the browser takes.
function opened(options) {
  const made = { ...options, challenge: bytes(options.challenge) };
  if (made.user) made.user = { ...made.user, id: bytes(made.user.id) };
  for (const list of ["allowCredentials", "excludeCredentials"]) {
    if (made[list]) made[list] = made[list].map((one) => ({ ...one, id: bytes(one.id) }));
  }
  return made;
}

// closed turns the device's answer into text.
function closed(credential) {
  const from = credential.response;
  const response = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (from[name]) response[name] = text(from[name]);
  }
  if (from.getTransports) response.transports = from.getTransports();
  return {
    id: credential.id, rawId: text(credential.rawId), type: credential.type, response,
    authenticatorAttachment: credential.authenticatorAttachment ?? undefined,
    clientExtensionResults: credential.getClientExtensionResults(),
  };
}

function bytes(base64url) {
  return Uint8Array.from(atob(base64url.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
}

function text(buffer) {
  return btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}
