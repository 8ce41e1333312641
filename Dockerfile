FROM python:3.11-slim-bookworm

RUN useradd --create-home --uid 10001 slackwater && mkdir /data && chown slackwater:slackwater /data

WORKDIR /app
COPY .ci/requirements.txt .ci/requirements.txt
RUN pip install --no-cache-dir --require-hashes -r .ci/requirements.txt

COPY pyproject.toml README.md ./
COPY server server
COPY templates templates
COPY static static
COPY seed_catalogue seed_catalogue
# Who serves may not write here, and would compile all of it again at every start.
RUN python -m compileall -q server

ENV SLACKWATER_DATA=/data SLACKWATER_HOST=0.0.0.0 PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
# What was freed goes back to the machine; else glibc keeps as much as the largest buffer ever freed, for each of many threads.
ENV MALLOC_TRIM_THRESHOLD_=1048576 MALLOC_ARENA_MAX=2
USER 10001:10001
VOLUME /data
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s CMD ["python", "-c", "import os, urllib.request as r; r.urlopen('http://127.0.0.1:' + os.environ.get('SLACKWATER_PORT', '8000') + '/healthz', timeout=4)"]
CMD ["python", "-m", "server"]
