"use strict";
// Without this the page works by its forms; with it pictures are dropped, and parts renew themselves.
(() => {
  const body = document.body;
  const token = body.dataset.token;
  const shown = new Map();
  let asked = false;
  let again = false;
  body.classList.add("scripted");

  async function renew() {
    if (asked) {
      again = true;
      return;
    }
    asked = true;
    try {
      const answer = await fetch("/parts");
      if (!answer.ok) return;
      const { parts } = await answer.json();
      const cards = Object.keys(parts).filter((id) => id.startsWith("camera-"));
      if (cards.some((id) => !document.getElementById(id))) {
        location.reload();
        return;
      }
      for (const [id, html] of Object.entries(parts)) {
        if (shown.get(id) === html) continue;
        const part = document.getElementById(id);
        const opened = [...part.querySelectorAll("details")].map((each) => each.open);
        const focus = part.contains(document.activeElement) ? document.activeElement.id : "";
        part.innerHTML = html;
        part.querySelectorAll("details").forEach((each, at) => { each.open = opened[at] ?? each.open; });
        if (focus) document.getElementById(focus)?.focus();
        shown.set(id, html);
      }
    } catch {
      // The stream of news says when the server is there again.
    } finally {
      asked = false;
      if (again) {
        again = false;
        renew();
      }
    }
  }

  function line(text, good) {
    const came = document.getElementById("came");
    let list = came.querySelector(".said");
    if (!list) {
      list = document.createElement("ul");
      list.className = "said";
      came.prepend(list);
    }
    const item = document.createElement("li");
    item.className = good ? "good" : "fault";
    item.textContent = text;
    list.prepend(item);
    shown.delete("came");
  }

  function send(form, what) {
    return new Promise((done) => {
      const request = new XMLHttpRequest();
      request.open("POST", form);
      request.setRequestHeader("accept", "application/json");
      request.upload.onprogress = (event) => {
        const phase = document.querySelector("#head .all");
        if (phase && event.total > 1e6) {
          phase.textContent = `sending ${Math.round(100 * event.loaded / event.total)} %`;
          shown.delete("head");
        }
      };
      request.onload = () => {
        if (request.status === 403) line("This page was open before the server was started: load it again", false);
        done();
        renew();
      };
      request.onerror = () => {
        line("The server does not answer: is it still running? Nothing is lost that had come in", false);
        done();
      };
      request.send(what);
    });
  }

  async function take(files, camera) {
    const most = Number(body.dataset.most);
    const few = [...files].slice(0, Number(body.dataset.pictures));
    if (few.length < files.length) line(`Only ${few.length} pictures at once; send the others again`, false);
    // One request for each: the first is looked at while the second is on its way.
    for (const file of few) {
      if (file.size > most) {
        line(`${file.name.slice(-80)}: ${Math.round(file.size / 1e6)} MB; at most ${most / 1e6} MB`, false);
        continue;
      }
      const what = new FormData();
      what.append("token", token);
      if (camera) what.append("camera", camera);
      what.append("files", file, file.name);
      await send("/pictures", what);
    }
  }

  document.addEventListener("change", (event) => {
    const input = event.target;
    if (input.type !== "file" || !input.files.length) return;
    const camera = input.form.elements.camera;
    take(input.files, camera && camera.value);
    input.value = "";
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post") return;
    event.preventDefault();
    send(new URL(form.action).pathname, new FormData(form, event.submitter));
  });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    body.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) body.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    body.classList.remove("over");
    const card = event.target.closest && event.target.closest("article");
    const camera = card && card.querySelector('input[name="camera"]');
    const files = event.dataTransfer.files;
    take(files, files.length === 1 && camera ? camera.value : "");
  });

  const news = new EventSource("/news");
  news.onmessage = renew;
})();
