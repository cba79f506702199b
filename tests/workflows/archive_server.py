"""An archive on this machine that answers as a script tells it to, and notes what it was asked."""

import contextlib
import http.server
import threading
from dataclasses import dataclass, field


@dataclass
class Answer:
    """One answer: ``code``, ``content``, and where the connection breaks off."""

    content: bytes = b""
    code: int = 200
    cut_after: int | None = None
    tag: str = '"one"'
    more: dict = field(default_factory=dict)
    chunked: bool = False


class Archive:
    """Files by path: one :class:`Answer` for all requests, or a list taken in turn."""

    def __init__(self):
        self.files, self.asked, self.address = {}, [], ""

    def answer(self, path):
        """Return the answer to a request; of a list the last one stays."""
        found = self.files.get(path, Answer(code=404))
        if isinstance(found, list):
            found = found.pop(0) if len(found) > 1 else found[0]
        return found if isinstance(found, Answer) else Answer(found)


class _Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self):
        """Answer as the archive's script says; ranges as of RFC 9110, section 14."""
        archive = self.server.archive
        wanted = self.headers.get("Range")
        archive.asked.append((self.path, wanted))
        said = archive.answer(self.path)
        begins, code = 0, said.code
        if code == 200 and wanted and said.tag and self.headers.get("If-Range") == said.tag:
            begins, code = int(wanted.removeprefix("bytes=").rstrip("-")), 206
        body = said.content[begins:]
        self.send_response(code)
        if said.tag:
            self.send_header("ETag", said.tag)
        if code == 206:
            last = len(said.content) - 1
            self.send_header("Content-Range", f"bytes {begins}-{last}/{last + 1}")
        for name, value in said.more.items():
            self.send_header(name, value)
        sent = body[: said.cut_after]
        if said.chunked:
            self.send_header("Transfer-Encoding", "chunked")
            self.end_headers()
            ending = b"" if said.cut_after is not None else b"0\r\n\r\n"
            self.wfile.write(b"%x\r\n%b\r\n" % (len(sent), sent) + ending)
        else:
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(sent)
        self.close_connection = True

    def log_message(self, *_):
        """Say nothing."""


@contextlib.contextmanager
def archive():
    """Give an :class:`Archive` that can be asked at its ``address``."""
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Handler) as server:
        server.archive = Archive()
        server.archive.address = f"http://localhost:{server.server_port}"
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield server.archive
        finally:
            server.shutdown()
            thread.join()
