// One self-contained file: dist/report.html, into which the client inserts the data of a study.
import { defineConfig, type Plugin } from 'vite';

/** Inlines scripts and styles into the page. */
function inlineAll(): Plugin {
  return {
    name: 'inline-all',
    enforce: 'post',
    generateBundle(_options, bundle) {
      const files = Object.values(bundle);
      const page = files.find((file) => file.type === 'asset' && file.fileName.endsWith('.html'));
      if (page?.type !== 'asset') throw new Error('there is no page to inline scripts into');
      let script = '';
      let style = '';
      for (const file of files) {
        if (file.type === 'chunk')
          script += file.code.replaceAll('</script', '<\\/script').replaceAll('<!--', '<\\!--');
        else if (file.fileName.endsWith('.css')) style += file.source;
        else continue;
        delete bundle[file.fileName];
      }
      page.source = String(page.source)
        .replace(/<script type="module"[^>]*><\/script>/, '')
        .replace(/<link rel="stylesheet"[^>]*>/, () => `<style>${style}</style>`)
        .replace('</body>', () => `<script>${script}</script>\n</body>`);
    },
  };
}

export default defineConfig({
  plugins: [inlineAll()],
  build: {
    target: 'es2020',
    modulePreload: false,
    assetsInlineLimit: 1_000_000,
    rollupOptions: { input: 'report.html', output: { format: 'iife' } },
  },
  test: { include: ['test/**/*.test.ts'] },
} as Parameters<typeof defineConfig>[0]);
