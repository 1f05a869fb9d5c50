"""Bags: a folder with a payload and the checksums that prove it whole (BagIt 1.0, RFC 8493).

A bag of ours (`archive.exchange.bag_out`) holds `data/`, `bagit.txt`, `bag-info.txt`, `manifest-sha256.txt` and
`tagmanifest-sha256.txt`, in UTF-8. Bags of 1.0 and 0.97 are read, with the encodings of tag files that are in use;
they are judged whole before anything of them is used, and everything that is wrong is told at once. What is copied
while it is checked is to be thrown away when the bag is refused. A bag that wants files fetched from elsewhere is
refused: this archive works without a network.
"""

from __future__ import annotations

import os
import re
import stat
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from archive.errors import InputError, ManyErrors, Notice
from archive.exchange.bag_files import digests_of, workers
from archive.exchange.readings import Findings

Progress = Callable[[int, int], None]

_ALGORITHMS = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}  # hex digits
_ENCODINGS = (
    *("utf-8", "us-ascii", "iso-8859-1", "iso-8859-15", "windows-1252"),
    *("utf-16", "utf-16-le", "utf-16-be", "utf-32"),
)
_MOST_TAG_BYTES = 64 * 2**20
_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_DECLARATION = re.compile(
    r"BagIt-Version: ([0-9]+\.[0-9]+)(?:\r\n|\r|\n)Tag-File-Character-Encoding: (\S+)(?:\r\n|\r|\n)?", re.IGNORECASE
)
LINE_END = re.compile(r"\r\n|\r|\n")  # and no other character: a name may hold U+2028
_ENTRY = re.compile(r"([0-9A-Fa-f]+)[ \t]+([^ \t].*)", re.DOTALL)
LABEL = {  # 1.0 has exactly one blank after the colon; before it, blanks round the colon belonged to nothing
    "1.0": re.compile(r"([^:\s](?:[^:]*[^:\s])?):(?:[ \t](.*))?", re.DOTALL),
    "0.97": re.compile(r"\s*([^:\s](?:[^:]*[^:\s])?)\s*:\s*(.*?)\s*", re.DOTALL),
}
_DRIVE = re.compile(r"[A-Za-z]:")
OUT_OF_PLACE = "Ask for a bag whose paths stay inside it"


@dataclass(frozen=True, slots=True)
class BagEntry:
    """One payload file of a bag: its path under `data/`, the file on the disk, its size in bytes, its SHA-256."""

    path: str
    file: Path
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag that was found whole.

    Attributes
    ----------
    version : str
        `"1.0"` or `"0.97"`.
    info : tuple of (label, value)
        `bag-info.txt`, in its order; labels may repeat.
    entries : tuple of BagEntry
        The payload, by path.
    notices : tuple of Notice
        What another reader of bags may stumble over.
    """

    version: str
    info: tuple[tuple[str, str], ...]
    entries: tuple[BagEntry, ...]
    notices: tuple[Notice, ...] = ()


def path_fault(path: str) -> str:
    """Return why a bag's path could lead out of the bag or names no file; empty when it is sound."""
    parts = path.split("/")
    if not path or "\0" in path:
        return "is empty or holds a zero byte"
    if path.startswith("/"):
        return "is absolute"
    if "\\" in path:
        return "has a backslash, which is a separator on some systems"
    if any(_DRIVE.match(part) for part in parts):
        return "names a drive"
    if path.startswith("~"):
        return "begins with ~, which is somebody's home folder"
    if ".." in parts:
        return "climbs out with .."
    if "" in parts or "." in parts:
        return "has an empty or . part"
    try:
        path.encode()
    except UnicodeEncodeError:  # half of a pair
        return "is no text in Unicode"
    return ""


def encode_path(path: str) -> str:
    """Return the path as a manifest carries it: percent, LF and CR encoded and nothing else (RFC 8493, 2.1.3)."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def decode_path(text: str) -> str:
    """Return the path of a manifest's text: the exact inverse of `encode_path`, in any case of hex digits."""
    plain = {"25": "%", "0A": "\n", "0D": "\r"}
    return re.sub("%(25|0A|0D)", lambda match: plain[match[1].upper()], text, flags=re.IGNORECASE)


def folded(path: str) -> str:
    """Return what two paths have in common that a disk without case or Unicode forms cannot tell apart."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def read_bag(
    folder: Path, progress: Progress | None = None, *, copy_to: Callable[[str], Path | None] | None = None
) -> Bag:
    """Return the bag in the folder after checking all of it; nothing outside it is opened.

    Parameters
    ----------
    folder : Path
        The bag's base folder.
    progress : callable, optional
        Told (files checked, files in all).
    copy_to : callable, optional
        Where a payload file, told by its path under `data/`, is copied to while it is checked; None: nowhere. Nothing
        may be there yet. After an error the copies are the caller's to throw away.

    Raises
    ------
    ManyErrors
        Everything that is wrong: files missing, changed, not listed or listed twice; paths that lead out; links
        and devices; tag files that break RFC 8493; files to be fetched.
    InputError
        There is no such folder.
    CatalogueError
        A copy cannot be written.
    """
    if not folder.is_dir():
        raise InputError("there is no such folder", where=str(folder), mend="Give the folder that holds bagit.txt")
    reading = _Reading(folder, Findings(folder.name))
    bag = reading.run(progress, copy_to or (lambda _: None))
    if bag is None or reading.findings.errors:
        mend = "Nothing of the bag was used. Copy it again from where it came, or ask its maker"
        raise ManyErrors(reading.findings.errors, where=folder.name, mend=mend)
    return bag


@dataclass(slots=True)
class _Manifest:
    """A manifest's name, its algorithm, and {path on the disk: checksum} of what it lists and is there."""

    name: str
    algorithm: str
    is_tag: bool
    sums: dict[str, str] = field(default_factory=dict)


class _Reading:
    """One judgement of one bag; what is wrong goes to `findings`."""

    def __init__(self, folder: Path, findings: Findings) -> None:
        self.findings = findings
        self._folder = folder
        self._sizes: dict[str, int] = {}
        self._alike: dict[str, list[str]] = {}  # NFC form -> paths on the disk
        self._version, self._encoding = "", ""

    def run(self, progress: Progress | None, copy_to: Callable[[str], Path | None]) -> Bag | None:
        """Return the bag; None when it cannot even be judged."""
        self._walk()
        if not self._declaration():
            return None
        if "fetch.txt" in self._sizes:
            mend = "Ask for the bag with all its files inside"
            self.findings.error("the bag wants files fetched from elsewhere", 0, "fetch.txt", mend)
        manifests = [self._manifest(name) for name in sorted(self._sizes) if _MANIFEST.fullmatch(name)]
        self._check_complete(manifests)
        sha256s = self._check_sums(manifests, progress, copy_to)
        payload = {path: size for path, size in self._sizes.items() if path.startswith("data/")}
        info = self._info(payload)
        entries = tuple(
            BagEntry(path.removeprefix("data/"), self._folder / path, size, sha256s.get(path, ""))
            for path, size in sorted(payload.items())
        )
        return Bag(self._version, info, entries, tuple(self.findings.notices))

    def _walk(self) -> None:
        """Note every file under the base folder; refuse what is neither file nor folder."""
        folders = [""]
        while folders:
            under = folders.pop()
            try:
                found = sorted(os.scandir(self._folder / under), key=lambda entry: entry.name)
            except OSError as exc:
                self.findings.error("the folder cannot be read: {why}", 0, under, why=exc.strerror)
                continue
            for entry in found:
                self._note(entry, f"{under}{entry.name}", folders)
        if not (self._folder / "data").is_dir():
            self.findings.error("the folder data/ is missing")  # RFC 8493, 2.1.2
        for path in self._sizes:
            self._alike.setdefault(unicodedata.normalize("NFC", path), []).append(path)

    def _note(self, entry: os.DirEntry[str], path: str, folders: list[str]) -> None:
        told = entry.stat(follow_symlinks=False)
        is_reparse = getattr(told, "st_file_attributes", 0) & stat.FILE_ATTRIBUTE_REPARSE_POINT
        fault = path_fault(path)
        if stat.S_ISLNK(told.st_mode) or is_reparse:
            self.findings.error("it is a link, which may lead out of the bag", 0, repr(path), OUT_OF_PLACE)
        elif fault:
            self.findings.error("the name {fault}", 0, repr(path), OUT_OF_PLACE, fault=fault)
        elif stat.S_ISDIR(told.st_mode):
            folders.append(f"{path}/")
        elif stat.S_ISREG(told.st_mode):
            self._sizes[path] = told.st_size
        else:
            self.findings.error("it is no file but a device, a pipe or a socket", 0, path)

    def _declaration(self) -> bool:
        """Read bagit.txt (2.1.1): two lines, exactly."""
        data = self._bytes("bagit.txt")
        if data is None:
            self.findings.error("there is no bagit.txt: the folder is no bag", mend="Give the bag's own folder")
            return False
        if data.startswith(b"\xef\xbb\xbf"):
            self.findings.error("it begins with a byte order mark", 0, "bagit.txt")
            data = data[3:]
        match = _DECLARATION.fullmatch(data.decode("utf-8", "replace"))
        if match is None:
            mend = 'It needs "BagIt-Version: 1.0" and "Tag-File-Character-Encoding: UTF-8", a line each'
            self.findings.error("it is not the two lines that every bag has", 0, "bagit.txt", mend)
            return False
        self._version, encoding = match[1], match[2].casefold()
        if self._version not in LABEL:
            mend = "Versions 1.0 and 0.97 are read"
            self.findings.error("the bag has version {version}", 0, "bagit.txt", mend, version=self._version)
        self._encoding = _plain_encodings().get(re.sub("[-_]", "", encoding), "")
        if not self._encoding:
            mend = f"Known are {', '.join(_ENCODINGS)}"
            self.findings.error("the encoding {encoding} is not known", 0, "bagit.txt", mend, encoding=encoding[:40])
        return self._version in LABEL and bool(self._encoding)

    def _bytes(self, name: str) -> bytes | None:
        """Return a tag file's bytes; None when it is not there, too big, or cannot be read."""
        if name not in self._sizes:
            return None
        if self._sizes[name] > _MOST_TAG_BYTES:
            self.findings.error("the tag file has more than 64 MiB", 0, name)
            return None
        try:
            return (self._folder / name).read_bytes()
        except OSError as exc:
            self.findings.error("the file cannot be read: {why}", 0, name, why=exc.strerror)
            return None

    def _lines(self, name: str) -> list[str]:
        """Return the lines of a text tag file (2.3)."""
        data = self._bytes(name)
        if data is None:
            return []
        if self._encoding == "utf-8" and data.startswith(b"\xef\xbb\xbf"):
            self.findings.error("it begins with a byte order mark, which UTF-8 must not have here", 0, name)
            data = data[3:]
        try:
            text = data.decode(self._encoding)
        except UnicodeError:
            template = "it is not in {encoding}, as bagit.txt says"
            self.findings.error(template, 0, name, encoding=self._encoding)
            return []
        return LINE_END.split(text)

    def _manifest(self, name: str) -> _Manifest:
        """Read a manifest (2.1.3, 2.2.1): every line is a checksum and a path inside the bag, once."""
        match = _MANIFEST.fullmatch(name)
        assert match is not None
        manifest = _Manifest(name, match[2], bool(match[1]))
        if manifest.algorithm not in _ALGORITHMS:
            template = "the checksums of {algorithm} are not known here, so they were not compared"
            self.findings.notice("checksum_unknown", template, 0, name, algorithm=manifest.algorithm)
        listed: dict[str, int] = {}
        for number, line in enumerate(self._lines(name), 1):
            if not line.strip(" \t"):
                continue
            entry = _ENTRY.fullmatch(line)
            if entry is None:
                mend = "Each line is a checksum in hex digits, a blank, a path"
                self.findings.error("the line is no checksum and path", number, name, mend)
            else:
                self._listed(manifest, number, entry[1], entry[2], listed)
        return manifest

    def _listed(self, manifest: _Manifest, number: int, told: str, text: str, listed: dict[str, int]) -> None:
        """Judge one line of a manifest, and keep it when its file is there."""
        findings, name = self.findings, manifest.name
        if text.startswith("*"):  # 6.1.3: checksum tools mark binary mode so; a reader that takes it must warn
            template = "an asterisk before the path was passed over: a strict reader refuses the bag"
            findings.notice("asterisk", template, number, name)
            text = text[1:]
        fault = path_fault(decode_path(text)) or path_fault(text)
        if not fault and text.startswith("data/") == manifest.is_tag:
            fault = "is of the payload" if manifest.is_tag else "is not under data/"
        digits = _ALGORITHMS.get(manifest.algorithm, len(told))
        if fault:
            findings.error("the path {path} {fault}", number, name, OUT_OF_PLACE, path=repr(text[:80]), fault=fault)
            return
        if text in listed:
            template = "{path} stands here again, after line {first}"
            findings.error(template, number, name, path=repr(text[:80]), first=listed[text])
            return
        listed[text] = number
        if len(told) != digits:
            template = "the checksum has {found} digits, {algorithm} has {wanted}"
            told_of = {"found": str(len(told)), "algorithm": manifest.algorithm, "wanted": str(digits)}
            findings.error(template, number, name, **told_of)
        path = self._find(text, number, name)
        if path is None:
            findings.error("{path} is not in the bag", number, name, path=repr(text[:80]))
        elif path in manifest.sums:
            template = "{path} differs from a line before only in its Unicode form"
            findings.error(template, number, name, path=repr(text[:80]))
        else:
            manifest.sums[path] = told.lower()

    def _find(self, text: str, number: int, name: str) -> str | None:
        """Return the path on the disk that a manifest's text means; None when nothing is there.

        1.0 encodes line ends and percent signs; many makers of bags do not, and in 0.97 nobody had to.
        """
        spellings = [decode_path(text), text]
        for spelling in spellings if self._version == "1.0" else reversed(spellings):
            if spelling in self._sizes:
                if self._version == "1.0" and encode_path(spelling) != text.replace("%0a", "%0A").replace("%0d", "%0D"):
                    template = "the percent sign in {path} is not encoded: a strict reader refuses the bag"
                    self.findings.notice("percent_not_encoded", template, number, name, path=repr(text[:80]))
                return spelling
        for spelling in spellings:  # 6.1.1.3: compare both after the same normalisation
            alike = self._alike.get(unicodedata.normalize("NFC", spelling), [])
            if len(alike) == 1:
                template = "{path} is written in another Unicode form on the disk"
                self.findings.notice("unicode_form", template, number, name, path=repr(text[:80]))
                return alike[0]
        return None

    def _check_complete(self, manifests: list[_Manifest]) -> None:
        """Tell what no manifest lists (section 3), and paths that some disks cannot tell apart (6.1.1)."""
        lists = [manifest for manifest in manifests if not manifest.is_tag]
        if not any(manifest.algorithm in _ALGORITHMS for manifest in lists):
            told = f"It needs a payload manifest of one of {', '.join(_ALGORITHMS)}"
            self.findings.error("no payload manifest can be checked", mend=told)
            return
        payload = {path for path in self._sizes if path.startswith("data/")}
        if self._version == "1.0":
            wanted = [(manifest.name, payload - set(manifest.sums)) for manifest in lists]
        else:  # each payload file had to be in one of the manifests only
            wanted = [("the manifests", payload.difference(*(manifest.sums for manifest in lists)))]
        for name, strays in wanted:
            for path in sorted(strays):
                self.findings.error("{path} is in the bag, but not listed", 0, name, path=repr(path[:80]))
        for tags in (m for m in manifests if m.is_tag and self._version == "1.0"):
            for missing in (m.name for m in lists if m.name not in tags.sums):
                self.findings.error("it must list {missing}", 0, tags.name, missing=missing)
        first_of: dict[str, str] = {}
        for path in sorted(payload):
            first = first_of.setdefault(folded(path), path)
            if first != path:
                template = "{path} and {first} are one file on disks that fold case or Unicode forms"
                self.findings.notice("names_alike", template, path=repr(path), first=repr(first))

    def _check_sums(
        self, manifests: list[_Manifest], progress: Progress | None, copy_to: Callable[[str], Path | None]
    ) -> dict[str, str]:
        """Compare every file with every checksum told of it; return {path: SHA-256} of all that was read."""
        wanted: dict[str, list[_Manifest]] = {path: [] for path in self._sizes if path.startswith("data/")}
        for manifest in (manifest for manifest in manifests if manifest.algorithm in _ALGORITHMS):
            for path in manifest.sums:
                wanted.setdefault(path, []).append(manifest)
        found: dict[str, str] = {}

        def read(path: str) -> dict[str, str] | OSError:
            copy = copy_to(path.removeprefix("data/")) if path.startswith("data/") else None
            try:
                return digests_of(self._folder / path, {"sha256", *(each.algorithm for each in wanted[path])}, copy)
            except OSError as exc:
                return exc

        with workers() as pool:
            for done, (path, digests) in enumerate(zip(sorted(wanted), pool.map(read, sorted(wanted)), strict=True), 1):
                if isinstance(digests, OSError):
                    self.findings.error("the file cannot be read: {why}", 0, repr(path), why=digests.strerror)
                else:
                    found[path] = digests["sha256"]
                    self._compare(path, digests, wanted[path])
                if progress:
                    progress(done, len(wanted))
        return found

    def _compare(self, path: str, digests: Mapping[str, str], tellers: list[_Manifest]) -> None:
        for teller in tellers:
            if digests[teller.algorithm] != teller.sums[path]:
                template = "the file is not what {manifest} says: its {algorithm} differs"
                told = {"manifest": teller.name, "algorithm": teller.algorithm}
                self.findings.error(template, 0, repr(path), "Copy it again from where it came", **told)

    def _info(self, payload: Mapping[str, int]) -> tuple[tuple[str, str], ...]:
        """Read bag-info.txt (2.2.2), and compare Payload-Oxum with what is there."""
        found: list[tuple[str, str]] = []
        for number, line in enumerate(self._lines("bag-info.txt"), 1):
            match = LABEL[self._version].fullmatch(line)
            if line.startswith((" ", "\t")) and found:
                label, value = found[-1]
                found[-1] = (label, f"{value}\n{line.strip(' ' + chr(9))}")
            elif match:
                found.append((match[1], match[2] or ""))
            elif line:
                template = "the line is no label, colon, blank and value"
                self.findings.error(template, number, "bag-info.txt")
        oxums = [value.strip() for label, value in found if label.casefold() == "payload-oxum"]
        there = f"{sum(payload.values())}.{len(payload)}"
        if len(oxums) > 1:
            self.findings.error("Payload-Oxum stands there more than once", 0, "bag-info.txt")
        elif oxums and oxums[0] != there:
            template = "Payload-Oxum says {told}, but the payload has {there} (bytes.files)"
            self.findings.error(template, 0, "bag-info.txt", told=oxums[0][:40], there=there)
        return tuple(found)


def _plain_encodings() -> dict[str, str]:
    """Return {name without hyphens: name}: UTF-16BE is as good as utf-16-be."""
    return {name.replace("-", ""): name for name in _ENCODINGS}
