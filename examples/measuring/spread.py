"""Many photos over many workers with Dask (https://distributed.dask.org, `pip install distributed`):

    python3 examples/measuring/spread.py target/release/flankread FOLDER answers.jsonl --processes 2
    python3 examples/measuring/spread.py flankread list.txt answers.jsonl --scheduler tcp://HOST:8786

Each Dask process starts one `flankread worker` and keeps it; a task is one request. A process that
dies is started anew by Dask and its task is given out again. The answers go to one file, a line a
photo under the photo's name: an answer for a name that is there already is not written again, and
a later run asks only for what is missing. So nothing is lost and nothing is in the file twice,
whatever dies when; only what a process was reading when it died is read again.

On a cluster each machine needs the program, and photos under the same paths or in an object store.
`--kill COUNT` kills that many Dask processes and flankread workers on the way, to show it.
"""

import argparse
import json
import os
import random
import signal
import subprocess
import threading
import time
from pathlib import Path

from distributed import Client, LocalCluster, as_completed, get_worker

ENDINGS = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"}


def ask(program, photo):
    """The answer of this Dask process's worker, started when there is none; errors that may go away raise."""
    keeper = get_worker()
    worker = getattr(keeper, "flankread", None)
    if worker is None or worker.poll() is not None:
        worker = subprocess.Popen([program, "worker"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        keeper.flankread = worker
    worker.stdin.write(json.dumps({"id": photo, "photo": photo}).encode() + b"\n")
    worker.stdin.flush()
    line = worker.stdout.readline()
    if not line.endswith(b"\n"):
        keeper.flankread = None
        raise RuntimeError(f"the worker died on {photo}")
    answer = json.loads(line)
    if answer["id"] != photo:
        raise RuntimeError(f"the answer is for {answer['id']}, not {photo}")
    if answer.get("error", {}).get("kind") == "fetch":
        raise RuntimeError(answer["error"]["message"])
    return answer


def there(path):
    """Names that have an answer; a last line without an end is cut off."""
    names = set()
    if path.exists():
        data = path.read_bytes()
        data = data[: data.rfind(b"\n") + 1]
        path.write_bytes(data)
        names = {json.loads(line)["id"] for line in data.splitlines()}
    return names


def processes(dask_worker):
    """Ids of a Dask process and of its flankread worker, if that lives."""
    worker = getattr(dask_worker, "flankread", None)
    return os.getpid(), worker.pid if worker is not None and worker.poll() is None else None


def kill_some(client, count, killed):
    """Kills Dask processes and flankread workers in turn while they work."""
    while len(killed) < count:
        time.sleep(random.uniform(1.0, 2.5))
        for dask, worker in client.run(processes).values():
            victim = worker if len(killed) % 2 else dask
            if victim is not None:
                os.kill(victim, signal.SIGKILL)
                killed.append(victim)
                break


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("photos", help="a folder, or a text file with a path or address a line")
    arguments.add_argument("answers")
    arguments.add_argument("--processes", type=int, default=os.cpu_count())
    arguments.add_argument("--scheduler", help="address of a running cluster, instead of processes on this machine")
    arguments.add_argument("--kill", type=int, default=0)
    given = arguments.parse_args()
    program = os.path.abspath(given.program) if os.path.exists(given.program) else given.program
    source = Path(given.photos)
    if source.is_dir():
        photos = [str(path.resolve()) for path in sorted(source.rglob("*")) if path.suffix.lower() in ENDINGS]
    else:
        photos = list(dict.fromkeys(source.read_text().splitlines()))
    answers = Path(given.answers)
    done = there(answers)
    wanted = [photo for photo in photos if photo and photo not in done]
    if given.scheduler:
        client = Client(given.scheduler)
    else:
        client = Client(LocalCluster(n_workers=given.processes, threads_per_worker=1, dashboard_address=None))
    asked = client.map(lambda photo: ask(program, photo), wanted, key=wanted, retries=5)
    killed = []
    if given.kill:
        threading.Thread(target=kill_some, args=(client, given.kill, killed), daemon=True).start()
    twice = failed = 0
    with answers.open("ab") as file:
        # Answers are fetched as they come and then let go: one that lies on a process that dies
        # would be computed again as long as anybody holds on to it.
        coming = as_completed(asked, with_results=True, raise_errors=False)
        del asked
        for future, answer in coming:
            name, status = future.key, future.status
            future.release()
            if status == "error":
                failed += 1
                print(f"{name}: {answer}")
            elif answer["id"] in done:
                twice += 1
            else:
                done.add(answer["id"])
                file.write(json.dumps(answer).encode() + b"\n")
                file.flush()
    print(
        f"{len(photos)} photos, {len(done)} answers, {failed} without one, {len(killed)} processes killed, "
        f"{twice} answers that came twice and were not written again"
    )
    client.close()


if __name__ == "__main__":
    main()
