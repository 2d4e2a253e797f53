// Sends a clip with a progress bar, and reads a lens profile from its file. Without this module the forms work as they are.

for (const form of document.querySelectorAll("form[data-upload]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
}

function send(form) {
  const status = form.querySelector(".sending");
  const bar = status.querySelector("progress");
  const line = status.querySelector("p");
  const button = form.querySelector("button");
  const request = new XMLHttpRequest();
  status.hidden = false;
  line.classList.remove("error");
  // a server that refuses in the middle cuts the connection: the person would not hear why
  const files = [...form.querySelector("input[type=file]").files];
  if (files.reduce((bytes, file) => bytes + file.size, 0) > Number(form.dataset.most)) {
    line.textContent = form.dataset.tooLarge;
    line.classList.add("error");
    return;
  }
  button.disabled = true;
  window.addEventListener("beforeunload", stay);
  request.upload.addEventListener("progress", ({ loaded, total }) => {
    const percent = total > 0 ? Math.floor((100 * loaded) / total) : 0;
    bar.value = percent;
    line.textContent = percent < 100 ? form.dataset.uploading.replace("{percent}", percent) : form.dataset.checking;
  });
  request.addEventListener("load", () => {
    window.removeEventListener("beforeunload", stay);
    if (request.status < 400) window.location.assign(request.responseURL);
    else refuse(form, request);
  });
  request.addEventListener("error", () => {
    window.removeEventListener("beforeunload", stay);
    line.textContent = form.dataset.failed;
    button.disabled = false;
  });
  request.open("POST", form.action);
  request.send(new FormData(form));
}

// Leaving the page would break the upload off: the browser asks first.
function stay(event) {
  event.preventDefault();
}

// The server answers a refused upload with the same page and its errors: those are shown here.
function refuse(form, request) {
  const answer = new DOMParser().parseFromString(request.responseText, "text/html");
  const errors = [...answer.querySelectorAll(".errors li")].map((item) => item.textContent.trim());
  const line = form.querySelector(".sending p");
  line.textContent = errors.join(" ") || answer.querySelector(".lead")?.textContent || form.dataset.failed;
  line.classList.add("error");
  form.querySelector("button").disabled = false;
  form.querySelector("input[type=file]").setAttribute("aria-invalid", "true");
}

const profileFile = document.getElementById("profile-file");
if (profileFile) {
  profileFile.closest("[data-profile-file]").hidden = false;
  profileFile.addEventListener("change", async () => {
    const [file] = profileFile.files;
    if (file) document.getElementById("field-profile").value = await file.text();
  });
}
