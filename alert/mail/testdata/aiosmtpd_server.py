"""A mail server on aiosmtpd for the tests: STARTTLS and login are mandatory.

usage: aiosmtpd_server.py CERT KEY USER PASSWORD
Prints the port, then one JSON object a line for each mail it took.
Ends when standard input does.
"""
import asyncio
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult

cert, key, user, password = sys.argv[1:]


class Taker:
    async def handle_DATA(self, server, session, envelope):
        print(json.dumps({"from": envelope.mail_from, "to": envelope.rcpt_tos, "tls": session.ssl is not None,
                          "user": session.auth_data.login.decode() if session.auth_data else "",
                          "data": envelope.content.decode("utf-8", "surrogateescape")}), flush=True)
        return "250 2.0.0 taken"


def check(server, session, envelope, mechanism, data):
    ok = data.login == user.encode() and data.password == password.encode()
    return AuthResult(success=ok, handled=ok, auth_data=data)


tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
tls.load_cert_chain(cert, key)


async def main():
    loop = asyncio.get_running_loop()
    server = await loop.create_server(
        lambda: SMTP(Taker(), hostname="localhost", tls_context=tls, require_starttls=True, auth_required=True,
                     authenticator=check, enable_SMTPUTF8=True), "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await loop.run_in_executor(None, sys.stdin.read)
    server.close()


asyncio.run(main())
