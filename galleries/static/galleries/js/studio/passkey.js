// Passkeys: the server asks, the device answers, the form carries the answer. Without a script there is the code.
import { $$ } from "../shared/dom.js";
import { post, sentenceOf } from "../shared/net.js";

const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (one) => one.charCodeAt(0));
const text = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-")
    .replace(/\//g, "_")
    .replace(/=+$/, "");
const named = (list = []) => list.map((one) => ({ ...one, id: bytes(one.id) }));

async function made({ publicKey: asked }) {
  const key = await navigator.credentials.create({
    publicKey: {
      ...asked,
      challenge: bytes(asked.challenge),
      user: { ...asked.user, id: bytes(asked.user.id) },
      excludeCredentials: named(asked.excludeCredentials),
    },
  });
  return { key, response: { attestationObject: text(key.response.attestationObject) } };
}

async function signed({ publicKey: asked }) {
  const key = await navigator.credentials.get({
    publicKey: { ...asked, challenge: bytes(asked.challenge), allowCredentials: named(asked.allowCredentials) },
  });
  const { authenticatorData, signature } = key.response;
  return { key, response: { authenticatorData: text(authenticatorData), signature: text(signature) } };
}

async function answer(form) {
  const typed = Object.fromEntries(new FormData(form));
  const asked = await post(form.dataset.ask, { password: typed.password ?? "", code: typed.code ?? "" });
  const { key, response } = await (form.dataset.passkey === "new" ? made(asked) : signed(asked));
  return {
    id: key.id,
    rawId: key.id,
    type: key.type,
    response: { ...response, clientDataJSON: text(key.response.clientDataJSON) },
    clientExtensionResults: {},
  };
}

for (const form of $$("form[data-passkey]")) {
  const problem = form.querySelector(".problem");
  form.hidden = !window.PublicKeyCredential;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    problem.hidden = true;
    try {
      form.elements.answer.value = JSON.stringify(await answer(form));
      for (const secret of ["password", "code"]) if (form.elements[secret]) form.elements[secret].disabled = true;
      form.submit();
    } catch (error) {
      problem.textContent = sentenceOf(error, { failed: form.dataset.failed });
      problem.hidden = false;
    }
  });
}
