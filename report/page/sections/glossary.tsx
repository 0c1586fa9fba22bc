import { GLOSSARY } from '../../words/glossary.js';

export function GlossaryPart() {
  return (
    <section id="glossary" aria-labelledby="glossary-title">
      <h2 id="glossary-title">Words</h2>
      <dl>
        {Object.entries(GLOSSARY).map(([term, words]) => (
          <div key={term}>
            <dt>{term}</dt>
            <dd>{words}</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
