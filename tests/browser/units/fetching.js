import { askFirst, refusal } from "/static/galleries/js/invitee/fetching.js";
import { holds, same } from "./checks.js";

const WORDS = { fetch_waits: "No network.", fetch_failed: "It failed.", as_it_is_now: "Anew" };
const withdrawn = () => Response.json({ error: "The studio has withdrawn this." }, { status: 403 });
const settled = () => new Promise((done) => setTimeout(done, 20));

/** A server that answers so, by method; what it was asked. */
function server(answers) {
  const asked = [];
  window.fetch = async (_address, { method = "GET" } = {}) => {
    asked.push(method);
    return answers[method]();
  };
  return asked;
}
function page() {
  const root = document.createElement("div");
  root.innerHTML = "<p><a download href='/file'>Fetch</a></p><textarea>For a tram</textarea>";
  document.body.replaceChildren(root);
  let followed = 0;
  askFirst(WORDS, {
    root,
    follow: () => {
      followed += 1;
    },
  });
  const link = root.querySelector("a[download]");
  return { root, link, told: () => root.querySelector("[role=alert]")?.textContent ?? "", followed: () => followed };
}

export default {
  "what can be fetched is fetched, and only asked about by HEAD": async () => {
    const asked = server({ HEAD: () => new Response(null) });
    const { link, told, followed } = page();
    link.click();
    link.click(); // a second finger, while the first is asked about
    await settled();
    same([asked, followed(), told()], [["HEAD"], 1, ""]);
  },
  "of what was withdrawn meanwhile the server's sentence stands beside it, and nothing else is touched": async () => {
    server({ HEAD: () => new Response(null, { status: 403 }), GET: withdrawn });
    const { root, link, told, followed } = page();
    for (let press = 0; press < 2; press += 1) {
      link.click();
      await settled();
    }
    same([followed(), told()], [0, "The studio has withdrawn this. Anew"]);
    same(root.querySelectorAll("[role=alert]").length, 1);
    same(root.querySelector("textarea").value, "For a tram");
    server({ HEAD: () => new Response(null) });
    link.click();
    await settled();
    same([followed(), told()], [1, ""]);
  },
  "without a network, or an answer, it says so": async () => {
    server({ HEAD: () => Promise.reject(new TypeError("offline")) });
    same(await refusal("/file", WORDS), "No network.");
    server({ HEAD: () => new Response(null, { status: 502 }), GET: () => new Response("<p>", { status: 502 }) });
    same(await refusal("/file", WORDS), "It failed.");
  },
  "one that is offered again between both questions is fetched": async () => {
    server({ HEAD: () => new Response(null, { status: 403 }), GET: () => new Response("bytes") });
    holds((await refusal("/file", WORDS)) === "", "it can be had");
  },
};
