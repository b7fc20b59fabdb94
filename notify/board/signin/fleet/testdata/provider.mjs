// An OpenID provider for tests. It signs in whom PUT /as names, without asking.
import http from 'node:http';
import { Provider } from 'oidc-provider';

const [port, redirect] = process.argv.slice(2);
const issuer = `http://127.0.0.1:${port}`;
let as = {};
const provider = new Provider(issuer, {
  clients: [{ client_id: 'telltale', client_secret: 'the secret of the client', redirect_uris: [redirect], token_endpoint_auth_method: 'client_secret_basic' }],
  features: { devInteractions: { enabled: false } },
  pkce: { required: () => true },
  findAccount: (_, sub) => ({ accountId: sub, claims: () => ({ sub }) }),
  interactions: { url: (_, i) => `/interaction/${i.uid}` },
  cookies: { keys: ['only for tests'] },
  claims: { openid: ['sub', 'acr', 'amr', 'auth_time'] },
});
provider.on('server_error', (_, err) => console.error(err));
const callback = provider.callback();
http.createServer(async (req, res) => {
  const url = new URL(req.url, issuer);
  if (req.method === 'PUT') {
    as = Object.fromEntries(url.searchParams);
    return res.end();
  }
  if (!url.pathname.startsWith('/interaction/')) return callback(req, res);
  const { prompt, params, grantId } = await provider.interactionDetails(req, res);
  if (prompt.name === 'login') {
    if (as.error) return provider.interactionFinished(req, res, { error: as.error, error_description: 'refused at the provider' });
    return provider.interactionFinished(req, res, { login: { accountId: as.sub, acr: as.acr, amr: as.amr?.split(' '), remember: false } });
  }
  const grant = grantId ? await provider.Grant.find(grantId) : new provider.Grant({ accountId: as.sub, clientId: params.client_id });
  grant.addOIDCScope('openid');
  return provider.interactionFinished(req, res, { consent: { grantId: await grant.save() } });
}).listen(port, '127.0.0.1', () => console.log('ready'));
