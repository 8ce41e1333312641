FROM python:3.11-slim

RUN useradd --create-home --uid 10001 slackwater && mkdir /data && chown slackwater:slackwater /data

WORKDIR /app
COPY .ci/requirements.txt .ci/requirements.txt
RUN pip install --no-cache-dir --require-hashes -r .ci/requirements.txt

COPY pyproject.toml README.md ./
COPY server server
COPY templates templates
COPY static static
COPY seed_catalogue seed_catalogue

ENV SLACKWATER_DATA=/data SLACKWATER_HOST=0.0.0.0 PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
USER slackwater
VOLUME /data
EXPOSE 8000
CMD ["python", "-m", "server"]
